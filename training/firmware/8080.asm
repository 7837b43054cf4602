;; clear
f: lxi h,a_
 mvi b,k_
 xra a
.a: mov m,a
 inx h
 dcr b
 jnz .a
 ret
;; copy
f: ldax d
 mov m,a
 inx d
 inx h
 dcx b
 mov a,b
 ora c
 jnz f
 ret
;; delay
f: lxi d,w_
.a: dcx d
 mov a,d
 ora e
 jnz .a
 ret
;; delay nested
f: push b
 mvi b,k_
.a: mvi c,k_
.b: dcr c
 jnz .b
 dcr b
 jnz .a
 pop b
 ret
;; sendchar
f: in p_
 ani 1
 jz f
 mov a,c
 out p_
 ret
;; getchar
f: in p_
 ani 2
 jz f
 in p_
 ani 7fh
 ret
;; message
f: mov a,m
 ora a
 rz
 mov c,a
 call f_
 inx h
 jmp f
;; message table
f: lxi h,t_
.a: mov a,m
 cpi '$'
 jz .b
 mov c,a
 call f_
 inx h
 jmp .a
.b: ret
;; hexout
f: push psw
 rrc
 rrc
 rrc
 rrc
 call .a
 pop psw
.a: ani 0fh
 adi 90h
 daa
 aci 40h
 daa
 mov c,a
 jmp f_
;; hexin
f: sui '0'
 rc
 cpi 10
 cmc
 rnc
 sui 7
 cpi 10
 rc
 cpi 16
 cmc
 ret
;; number in
f: lxi h,0
.a: call f_
 call f_
 jc .b
 dad h
 dad h
 dad h
 dad h
 ora l
 mov l,a
 jmp .a
.b: shld v_
 ret
;; add16
f: lhld v_
 xchg
 lhld v_
 dad d
 shld v_
 ret
;; sub16
f: mov a,e
 sub l
 mov l,a
 mov a,d
 sbb h
 mov h,a
 ret
;; compare
f: mov a,h
 cmp d
 rnz
 mov a,l
 cmp e
 ret
;; mul
f: lxi h,0
 mvi b,8
.a: dad h
 ral
 jnc .b
 dad d
.b: dcr b
 jnz .a
 ret
;; div
f: mvi b,8
.a: dad h
 mov a,h
 sub c
 jc .b
 mov h,a
 inr l
.b: dcr b
 jnz .a
 mov a,l
 ret
;; clock
f: lxi h,v_
 mov a,m
 adi 1
 daa
 mov m,a
 cpi 60h
 rnz
 mvi m,0
 inx h
 mov a,m
 adi 1
 daa
 mov m,a
 cpi 60h
 rc
 mvi m,0
 inx h
 inr m
 ret
;; irq
f: push psw
 push b
 push d
 push h
 lxi h,v_
 inr m
 jnz .a
 inx h
 inr m
.a: call f_
 pop h
 pop d
 pop b
 pop psw
 ei
 ret
;; keypad
f: mvi b,4
 mvi c,0feh
.a: mov a,c
 out p_
 in p_
 cma
 ani 0fh
 jnz .b
 mov a,c
 rlc
 mov c,a
 dcr b
 jnz .a
 stc
 ret
.b: mvi d,0
.c: rrc
 jc .d
 inr d
 jmp .c
.d: mov a,b
 add a
 add a
 add d
 mov e,a
 mvi d,0
 lxi h,t_
 dad d
 mov a,m
 ret
;; display
f: lxi h,v_
 mvi b,6
 mvi c,1
.a: xra a
 out p_
 mov e,m
 mvi d,0
 push h
 lxi h,t_
 dad d
 mov a,m
 pop h
 out p_
 mov a,c
 out p_
 rlc
 mov c,a
 call f_
 inx h
 dcr b
 jnz .a
 ret
;; dispatch
f: mov e,a
 mvi d,0
 lxi h,q_
 dad d
 dad d
 mov a,m
 inx h
 mov h,m
 mov l,a
 pchl
;; compare chain
f: cpi 'D'
 jz f_
 cpi 'G'
 jz f_
 cpi 'S'
 jz .a
 cpi 0dh
 cz f_
 jmp f_
.a: lhld v_
 xthl
 ret
;; checksum
f: lxi h,w_
 lxi b,w_
 xra a
.a: add m
 inx h
 push psw
 dcx b
 mov a,b
 ora c
 jz .b
 pop psw
 jmp .a
.b: pop psw
 cpi k_
 cnz f_
 ret
;; crc
f: lhld v_
 xra h
 mov h,a
 mvi b,8
.a: dad h
 jnc .b
 mov a,h
 xri 10h
 mov h,a
 mov a,l
 xri 21h
 mov l,a
.b: dcr b
 jnz .a
 shld v_
 ret
;; ring
f: mov c,a
 lda v_
 mov e,a
 mvi d,0
 lxi h,a_
 dad d
 mov m,c
 inr a
 ani 1fh
 sta v_
 lxi h,v_
 cmp m
 ret
;; bit bang
f: mvi b,8
 xra a
 out p_
 call f_
.a: mov a,c
 rrc
 mov c,a
 ani 1
 out p_
 call f_
 dcr b
 jnz .a
 mvi a,1
 out p_
 ret
;; ramtest
f: lxi h,w_
.a: mvi a,55h
 mov m,a
 cmp m
 jnz .e
 cma
 mov m,a
 cmp m
 jnz .e
 inx h
 mov a,h
 cpi k_
 jc .a
.e: shld v_
 ret
;; init
f: di
 lxi sp,w_
 mvi a,k_
 out p_
 mvi a,k_
 out p_
 xra a
 sta v_
 lxi h,f_
 shld v_
 call f_
 ei
.a: call f_
 lda v_
 ora a
 jz .a
 call f_
 jmp .a
;; timers
f: lda v_
 ora a
 jz .a
 dcr a
 sta v_
 jnz .a
 mvi a,k_
 sta v_
.a: lhld v_
 mov a,h
 ora l
 rz
 dcx h
 shld v_
 ret
;; strings
f: ldax d
 cmp m
 rnz
 ora a
 rz
 inx d
 inx h
 jmp f
;; stax
f: lxi b,a_
 ldax b
 inx b
 stax d
 inx d
 dcr l
 jnz f
 sphl
 hlt
;; glue
 call f_
 lxi h,t_
 lxi d,w_
 mvi a,k_
 sta v_
 lda v_
 ora a
 jz f_
 jnz f_
 call f_
 in p_
 ani k_
 out p_
 lhld v_
 shld v_
 mvi m,k_
 cpi k_
 mov a,m
 inx h
 inr a
 call f_
 xchg
 push h
 pop h
 jc f_
 mov b,a
 ora c
 push d
 pop d
 ana b
 mvi b,k_
