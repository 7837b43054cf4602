;; add16
f: ldd v1_
 addd v2_
 std v1_
 rts
;; sub
f: ldd v1_
 subd #w_
 bcs .a
 std v1_
.a: rts
;; index
f: ldx #t_
 ldab v_
 abx
 ldaa 0,x
 rts
;; mul
f: ldaa v1_
 ldab v2_
 mul
 std v3_
 ldaa #k_
 ldab v1_+1
 mul
 addd v3_
 std v3_
 rts
;; save
f: pshx
 psha
 pshb
 jsr f_
 pulb
 pula
 pulx
 rts
;; shift
f: ldd v_
 lsrd
 lsrd
 lsrd
 asld
 std v_
 rts
;; dispatch
f: ldx #q_
 aslb
 abx
 ldx 0,x
 jmp 0,x
;; serial
f: ldaa $11
 bita #$20
 beq f
 stab $13
 rts
;; serial in
f: ldaa $11
 bpl f
 ldab $12
 rts
;; timer
f: ldaa $08
 ldd $09
 addd #w_
 std $0b
 rti
;; copy
f: ldx v1_
 ldd 0,x
 ldx v2_
 std 0,x
 inx
 inx
 stx v2_
 rts
;; glue
 ldd v_
 std v_
 ldd #w_
 addd v_
 subd #w_
 pshx
 pulx
 jsr f_
