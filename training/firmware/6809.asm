;; clear
f: ldx #a_
 clra
.a: sta ,x+
 cmpx #a_
 bcs .a
 rts
;; clear words
f: ldx #a_
 ldd #0
.a: std ,x++
 cmpx #a_
 bne .a
 rts
;; copy
f: ldx v1_
 ldy v2_
.a: lda ,x+
 sta ,y+
 decb
 bne .a
 stx v1_
 sty v2_
 rts
;; copy words
f: pshs u,x,d
 ldu #t_
 ldx #a_
.a: ldd ,u++
 std ,x++
 cmpu #t_+k_
 bcs .a
 puls d,x,u,pc
;; delay
f: ldx #w_
.a: leax -1,x
 bne .a
 rts
;; sendchar
f: pshs b
.a: ldb a_
 bitb #2
 beq .a
 sta a_
 puls b,pc
;; getchar
f: lda a_
 bita #1
 beq f
 lda a_
 anda #$7f
 rts
;; message
f: leax t_,pcr
.a: lda ,x+
 beq .b
 bsr .c
 bra .a
.b: rts
.c: jmp f_
;; hexout
f: pshs a
 lsra
 lsra
 lsra
 lsra
 bsr .a
 puls a
 anda #$0f
.a: adda #$90
 daa
 adca #$40
 daa
 jmp f_
;; hexin
f: lbsr f_
 suba #$30
 bcs .x
 cmpa #10
 bcs .a
 suba #7
 cmpa #16
 bcc .x
.a: andcc #$fe
 rts
.x: orcc #1
 rts
;; add16
f: ldd v1_
 addd v2_
 std v1_
 rts
;; sub16
f: ldd v1_
 subd #w_
 bcc .a
 ldd #0
.a: std v1_
 rts
;; mul16
f: lda v1_
 ldb v2_
 mul
 std v3_
 lda v1_+1
 ldb v2_
 mul
 addd v3_
 std v3_
 rts
;; div
f: pshs x
 lda #16
 pshs a
 clra
 clrb
.a: asl a1_
 rol a2_
 rolb
 rola
 subd v1_
 bcs .b
 inc a1_
 bra .c
.b: addd v1_
.c: dec ,s
 bne .a
 leas 1,s
 puls x,pc
;; clock
f: lda v1_
 adda #1
 daa
 sta v1_
 cmpa #$60
 bne .x
 clr v1_
 lda v2_
 adda #1
 daa
 sta v2_
 cmpa #$60
 bcs .x
 clr v2_
 inc v3_
.x: rts
;; irq
f: lda a1_
 bpl .a
 lda a2_
 inc v1_
 bne .a
 ldd v2_
 addd #1
 std v2_
.a: lbsr f_
 rti
;; keypad
f: ldb #4
 lda #$fe
.a: sta a1_
 pshs a
 lda a2_
 coma
 anda #$0f
 bne .b
 puls a
 orcc #1
 rola
 decb
 bne .a
 clra
 rts
.b: leas 1,s
 ldx #t_
 lda a,x
 rts
;; display
f: ldx v1_
 ldb ,x+
 cmpx #a_
 bne .a
 ldx #a_
.a: stx v1_
 ldy #t_
 ldb b,y
 stb a1_
 lda v2_
 asla
 bne .b
 lda #1
.b: sta v2_
 sta a2_
 rts
;; dispatch
f: ldx #q_
 asla
 jmp [a,x]
;; dispatch 2
f: cmpb #k_
 bhi .x
 aslb
 ldx #q_
 ldx b,x
 jmp ,x
.x: rts
;; compare chain
f: lda v_
 cmpa #'M'
 lbeq f_
 cmpa #'G'
 beq .b
 cmpa #$0d
 bne .c
 lbra f_
.b: ldx v1_
 jsr ,x
.c: rts
;; checksum
f: ldx #w_
 clra
.a: adda ,x+
 cmpx #w_
 bne .a
 cmpa #k_
 beq .b
 lbsr f_
.b: rts
;; crc
f: eora v1_
 ldb #8
.a: asl v1_+1
 rola
 bcc .b
 eora #$10
 pshs a
 lda v1_+1
 eora #$21
 sta v1_+1
 puls a
.b: decb
 bne .a
 sta v1_
 rts
;; ring put
f: pshs x,b
 ldx #a_
 ldb v1_
 sta b,x
 incb
 andb #$1f
 cmpb v2_
 beq .a
 stb v1_
 andcc #$fe
.a: puls b,x,pc
;; ring get
f: ldb v2_
 cmpb v1_
 beq .a
 ldx #a_
 lda b,x
 incb
 andb #$1f
 stb v2_
.a: rts
;; strcmp
f: lda ,x+
 beq .a
 cmpa ,y+
 beq f
.a: rts
;; frame
f: leas -4,s
 std ,s
 stx 2,s
 ldd 6,s
 addd ,s
 std 8,s
 ldx [2,s]
 leax 3,x
 stx 2,s
 leas 4,s
 rts
;; init
f: lds #w_
 orcc #$50
 clra
 tfr a,dp
 sta a1_+1
 lda #$ff
 sta a1_
 lda #k_
 sta a2_
 ldx #f_
 stx v_
 jsr f_
 andcc #$af
.a: jsr f_
 lbsr f_
 tst v_
 beq .a
 bra .a
;; state
f: ldb v1_
 bne .a
 lda a_
 bita #k_
 beq .x
 inc v1_
 rts
.a: cmpb #2
 bhi .b
 lda v2_
 ora #$80
 sta v2_
 bra .x
.b: clr v1_
 lda v2_
 anda #$7f
 sta v2_
.x: rts
;; user stack
f: pshu a,b,x
 ldd 3,u
 leau 2,u
 pulu a,b
 exg a,b
 std ,u
 tfr u,x
 sex
 abx
 pulu x
 rts
;; glue
 jsr f_
 lbsr f_
 bsr f_
 lda #k_
 sta v_
 lda v_
 bne f_
 ldb a_
 bitb #k_
 beq f_
 stb a_
 ldx #t_
 ldx v_
 stx v_
 ldd #w_
 std v_
 clr v_
 inc v_
 leax k_,x
 ldy #t_
 lda k_,x
 jsr f_
 anda #k_
 cmpa #k_
 bra f_
