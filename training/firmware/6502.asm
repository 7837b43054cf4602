;; clear
f: lda #0
 ldx #k_
.a: sta v_,x
 dex
 bpl .a
 rts
;; copy
f: ldy #0
.a: lda (v1_),y
 sta (v2_),y
 iny
 bne .a
 inc v1_+1
 inc v2_+1
 dex
 bne .a
 rts
;; delay
f: ldx #k_
.a: ldy #k_
.b: dey
 bne .b
 dex
 bne .a
 rts
;; sendchar
f: pha
.a: lda a_
 and #$10
 beq .a
 pla
 sta a_
 rts
;; getchar
f: lda a_
 lsr a
 bcc f
 lda a_
 and #$7f
 rts
;; hexout
f: pha
 lsr a
 lsr a
 lsr a
 lsr a
 jsr .a
 pla
 and #$0f
.a: ora #$30
 cmp #$3a
 bcc .b
 adc #6
.b: jmp f_
;; message
f: ldx #0
.a: lda t_,x
 beq .b
 jsr f_
 inx
 bne .a
.b: rts
;; add16
f: clc
 lda v1_
 adc v2_
 sta v1_
 lda v1_+1
 adc v2_+1
 sta v1_+1
 rts
;; sub16
f: sec
 lda v1_
 sbc #k_
 sta v1_
 bcs .a
 dec v1_+1
.a: rts
;; mul
f: lda #0
 ldx #8
.a: lsr v1_
 bcc .b
 clc
 adc v2_
.b: ror a
 ror v3_
 dex
 bne .a
 sta v3_+1
 rts
;; div
f: lda #0
 ldx #16
.a: asl v1_
 rol v1_+1
 rol a
 cmp v2_
 bcc .b
 sbc v2_
 inc v1_
.b: dex
 bne .a
 rts
;; bcd clock
f: sed
 clc
 lda v1_
 adc #1
 sta v1_
 cmp #$60
 bne .x
 lda #0
 sta v1_
 lda v2_
 adc #0
 sta v2_
 cmp #$60
 bcc .x
 lda #0
 sta v2_
 inc v3_
.x: cld
 rts
;; irq
f: pha
 txa
 pha
 tya
 pha
 lda a_
 bpl .a
 sta a_
 inc v_
 bne .a
 inc v_+1
.a: jsr f_
 pla
 tay
 pla
 tax
 pla
 rti
;; keypad
f: lda #$fe
 sta v1_
 ldx #3
.a: lda v1_
 sta a1_
 nop
 lda a2_
 eor #$ff
 and #$0f
 bne .b
 sec
 rol v1_
 dex
 bpl .a
 lda #$ff
 rts
.b: ldy #$ff
.c: iny
 lsr a
 bcc .c
 txa
 asl a
 asl a
 sta v2_
 tya
 ora v2_
 tax
 lda t_,x
 rts
;; display
f: ldx v1_
 lda #0
 sta a1_
 lda v2_,x
 tay
 lda t_,y
 sta a2_
 lda t_,x
 sta a1_
 inx
 cpx #6
 bne .a
 ldx #0
.a: stx v1_
 rts
;; dispatch
f: asl a
 tax
 lda q_,x
 sta v1_
 lda q_+1,x
 sta v1_+1
 jmp (v1_)
;; dispatch rts
f: cmp #k_
 bcs .a
 asl a
 tay
 lda q_+1,y
 pha
 lda q_,y
 pha
.a: rts
;; compare chain
f: lda v_
 cmp #'A'
 beq .a
 cmp #'D'
 beq .b
 cmp #13
 bne .c
 jmp f_
.a: jsr f_
 jmp f_
.b: jsr f_
 rts
.c: lda #k_
 jmp f_
;; crc
f: eor v1_+1
 sta v1_+1
 ldy #8
.a: asl v1_
 rol v1_+1
 bcc .b
 lda v1_+1
 eor #$10
 sta v1_+1
 lda v1_
 eor #$21
 sta v1_
.b: dey
 bne .a
 rts
;; checksum
f: lda #0
 tay
 clc
.a: adc (v1_),y
 iny
 bne .a
 inc v1_+1
 dex
 bne .a
 cmp #k_
 rts
;; ring put
f: ldx v1_
 sta a_,x
 inx
 txa
 and #$1f
 cmp v2_
 beq .a
 sta v1_
 clc
 rts
.a: sec
 rts
;; ring get
f: ldx v2_
 cpx v1_
 beq .a
 lda a_,x
 pha
 inx
 txa
 and #$1f
 sta v2_
 pla
 sec
.a: rts
;; bit bang out
f: sta v1_
 ldx #8
 lda #0
 sta a_
 jsr f_
.a: lda #0
 lsr v1_
 rol a
 sta a_
 jsr f_
 dex
 bne .a
 lda #1
 sta a_
 jmp f_
;; hexin
f: jsr f_
 cmp #'0'
 bcc .x
 cmp #'9'+1
 bcc .a
 cmp #'A'
 bcc .x
 cmp #'F'+1
 bcs .x
 sbc #6
.a: and #15
 ldy #4
.b: asl v1_
 rol v1_+1
 dey
 bne .b
 ora v1_
 sta v1_
 clc
 rts
.x: sec
 rts
;; ramtest
f: ldy #0
.a: tya
 sta (v1_),y
 cmp (v1_),y
 bne .e
 iny
 bne .a
.e: sty v2_
 rts
;; init ports
f: sei
 cld
 ldx #$ff
 txs
 lda #$7f
 sta a1_
 sta a1_+2
 lda #0
 sta a2_
 sta a2_+1
 lda #k_
 sta a1_+3
 jsr f_
 jsr f_
 cli
.a: jsr f_
 lda v_
 beq .a
 jmp .a
;; timers
f: lda v1_
 beq .a
 dec v1_
 bne .a
 lda #k_
 sta v2_
.a: lda v3_
 beq .b
 dec v3_
.b: rts
;; max
f: ldx #7
 lda #0
.a: cmp v_,x
 bcs .b
 lda v_,x
 sty v2_
.b: dex
 bpl .a
 sta v1_
 rts
;; state
f: ldx v1_
 bne .a
 lda a_
 and #k_
 beq .x
 inc v1_
 bne .x
.a: dex
 bne .b
 lda v2_
 ora #$80
 sta v2_
 inc v1_
 rts
.b: lda #0
 sta v1_
 bit v2_
 bvs .x
 bmi .x
 stx v2_
.x: rts
;; glue
 jsr f_
 lda #k_
 sta v_
 lda v_
 bne f_
 jsr f_
 lda a_
 and #k_
 sta a_
 jsr f_
 ldx #k_
 ldy #k_
 stx v_
 inc v_
 cmp #k_
 beq f_
 jsr f_
 bit a_
 lda t_
 rol a
 ora #k_
