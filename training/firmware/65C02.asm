;; save
f: phx
 phy
 jsr f_
 ply
 plx
 rts
;; clear
f: stz v1_
 stz v1_+1
 ldx #k_
.a: stz a_,x
 dex
 bpl .a
 bra .b
.b: rts
;; copy
f: lda (v1_)
 sta (v2_)
 inc v1_
 bne .a
 inc v1_+1
.a: inc v2_
 bne .b
 inc v2_+1
.b: dex
 bne f
 rts
;; bits
f: lda #k_
 tsb v1_
 lda #k_
 trb v1_
 bit #$10
 beq .a
 inc a
 bra .b
.a: dec a
.b: sta v2_
 rts
;; dispatch
f: asl a
 tax
 jmp (q_,x)
;; irq
f: pha
 phx
 lda a_
 bpl .a
 stz a_
 inc v_
.a: plx
 pla
 rti
;; wait
f: lda v_
 bne .a
 bra f
.a: stz v_
 rts
;; glue
 stz v_
 bra f_
 phx
 plx
