;; move
f: lxi h,t_
 lxi d,a_
 lxi b,k_
 db 0edh,0b0h
 ret
;; loop
f: mvi b,k_
.a: in p_
 mov m,a
 inx h
 db 10h,0fah
 ret
;; find
f: mvi a,k_
 lxi b,w_
 lxi h,t_
 db 0edh,0b1h
 rnz
 dcx h
 jmp f_
;; test bit
f: in p_
 db 0cbh,5fh
 jz f
 in p_
 ani k_
 ret
;; other set
f: db 08h,0d9h
 lhld v_
 inx h
 shld v_
 db 0d9h,08h
 ei
 ret
;; shift
f: mov a,m
 db 0cbh,3fh
 db 0cbh,3fh
 ani k_
 mov m,a
 ret
;; subtract
f: lhld v_
 xchg
 lhld v_
 ora a
 db 0edh,52h
 rc
 shld v_
 ret
;; ports
f: lxi h,t_
 mvi b,k_
 mvi c,p_
 db 0edh,0b3h
 ret
;; wait
f: in p_
 ora a
 db 28h,0fbh
 sta v_
 ret
;; mode
f: di
 db 0edh,5eh
 lxi sp,a_
 ei
 jmp f_
