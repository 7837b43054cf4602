;; clear
f: ldx #a_
 clra
.a: staa 0,x
 inx
 cpx #a_
 bne .a
 rts
;; copy
f: ldx v1_
 ldaa 0,x
 inx
 stx v1_
 ldx v2_
 staa 0,x
 inx
 stx v2_
 decb
 bne f
 rts
;; delay
f: ldx #w_
.a: dex
 bne .a
 rts
;; delay nested
f: ldab #k_
.a: ldaa #k_
.b: deca
 bne .b
 decb
 bne .a
 rts
;; sendchar
f: pshb
.a: ldab a_
 bitb #2
 beq .a
 staa a_
 pulb
 rts
;; getchar
f: ldaa a_
 asra
 bcc f
 ldaa a_
 anda #$7f
 rts
;; message
f: ldx #t_
.a: ldaa 0,x
 cmpa #4
 beq .b
 bsr .c
 inx
 bra .a
.b: rts
.c: jmp f_
;; hexout
f: psha
 lsra
 lsra
 lsra
 lsra
 bsr .a
 pula
.a: anda #$0f
 adda #$30
 cmpa #$39
 bls .b
 adda #7
.b: jmp f_
;; hexin
f: jsr f_
 suba #$30
 bmi .x
 cmpa #9
 ble .a
 cmpa #$11
 bmi .x
 cmpa #$16
 bgt .x
 suba #7
.a: rts
.x: jmp f_
;; byte in
f: bsr .a
 asla
 asla
 asla
 asla
 tab
 bsr .a
 aba
 tab
 addb v1_
 stab v1_
 rts
.a: jmp f_
;; add16
f: ldaa v1_+1
 ldab v1_
 adda v2_+1
 adcb v2_
 staa v1_+1
 stab v1_
 rts
;; sub16
f: ldaa v1_+1
 suba #k_
 staa v1_+1
 ldaa v1_
 sbca #0
 staa v1_
 rts
;; mul
f: clra
 ldab #8
 stab v3_
 ldab v1_
.a: lsra
 rorb
 bcc .b
 adda v2_
.b: dec a_
 bne .a
 staa v1_
 stab v1_+1
 rts
;; div
f: clrb
 ldaa #8
 staa v3_
.a: asl a1_
 rolb
 subb v2_
 bcc .b
 addb v2_
 bra .c
.b: inc a1_
.c: dec a2_
 bne .a
 rts
;; clock
f: ldaa v1_
 adda #1
 daa
 staa v1_
 cmpa #$60
 bne .x
 clr a_
 ldaa v2_
 adda #1
 daa
 staa v2_
 cmpa #$60
 bcs .x
 clr a_
 inc a_
.x: rts
;; irq
f: ldaa a1_
 bpl .a
 ldaa a2_
 inc a_
 bne .a
 ldx v1_
 inx
 stx v1_
.a: jsr f_
 rti
;; keypad
f: ldab #4
 ldaa #$fe
.a: staa a1_
 psha
 ldaa a2_
 coma
 anda #$f0
 bne .b
 pula
 sec
 rola
 decb
 bne .a
 clra
 rts
.b: ins
 ldx #t_
.c: inx
 asla
 bcc .c
 ldaa 0,x
 rts
;; display
f: ldx v1_
 ldab 0,x
 inx
 cpx #a_
 bne .a
 ldx #a_
.a: stx v1_
 stab a1_
 com a2_
 ldaa v2_
 asla
 bne .b
 ldaa #1
.b: staa v2_
 staa a2_
 rts
;; lookup
f: ldx #t_
 tsta
 beq .b
.a: inx
 deca
 bne .a
.b: ldaa 0,x
 staa a_
 rts
;; dispatch
f: ldx #q_
.a: cmpa 0,x
 beq .b
 inx
 inx
 inx
 cpx #q_+k_
 bne .a
 rts
.b: ldx 1,x
 jmp 0,x
;; compare chain
f: ldaa v_
 cmpa #'L'
 beq .a
 cmpa #'G'
 beq .b
 cmpa #$0d
 bne .c
 jmp f_
.a: jsr f_
 bra .c
.b: ldx v1_
 jsr 0,x
.c: rts
;; checksum
f: ldx #w_
 clra
.a: adda 0,x
 inx
 cpx #w_
 bne .a
 coma
 cmpa a_
 beq .b
 jsr f_
.b: rts
;; crc
f: eora v1_
 ldab #8
.a: asl a1_
 rola
 bcc .b
 eora #$10
 psha
 ldaa a1_
 eora #$21
 staa a1_
 pula
.b: decb
 bne .a
 staa v1_
 rts
;; ring put
f: ldx v1_
 staa 0,x
 inx
 cpx #a_
 bne .a
 ldx #a_
.a: cpx v2_
 beq .b
 stx v1_
 clc
 rts
.b: sec
 rts
;; bit bang
f: ldab #9
 clc
.a: bcc .b
 ldaa #1
 bra .c
.b: clra
 nop
.c: staa a_
 bsr .d
 ror a_
 decb
 bne .a
 rts
.d: jmp f_
;; ramtest
f: ldx #w_
.a: ldaa #$55
 staa 0,x
 cmpa 0,x
 bne .e
 coma
 staa 0,x
 cmpa 0,x
 bne .e
 inx
 cpx #w_
 bne .a
.e: stx v_
 rts
;; init
f: lds #w_
 sei
 clra
 staa a1_+1
 staa a2_+1
 ldaa #$ff
 staa a1_
 ldaa #k_
 staa a2_
 ldaa #4
 staa a1_+1
 ldx #f_
 stx v_
 jsr f_
 cli
.a: jsr f_
 bsr .b
 tst a_
 beq .a
 bra .a
.b: jmp f_
;; timers
f: tst a1_
 beq .a
 dec a1_
 bne .a
 ldaa #k_
 staa v_
.a: ldx v1_
 beq .b
 dex
 stx v1_
.b: rts
;; state
f: ldab v1_
 bne .a
 ldaa a_
 bita #k_
 beq .x
 inc a_
 rts
.a: cmpb #2
 bhi .b
 ldaa v2_
 oraa #$80
 staa v2_
 bra .x
.b: clr a_
 ldaa v2_
 anda #$7f
 staa v2_
.x: rts
;; swapx
f: stx v1_
 ldaa v1_+1
 adda v2_
 staa v1_+1
 bcc .a
 inc a_
.a: ldx v1_
 ldaa 5,x
 ldab 6,x
 sba
 stab 7,x
 neg 8,x
 lsr 9,x
 rts
;; glue
 jsr f_
 bsr f_
 ldaa #k_
 staa v_
 ldaa v_
 bne f_
 ldab a_
 bitb #k_
 beq f_
 stab a_
 ldx #t_
 ldx v_
 stx v_
 clr a_
 inc a_
 tst a_
 jsr f_
 anda #k_
 oraa #k_
 cmpa #k_
 bra f_
 ldaa k_,x
