;; clear
f: ldi k_
 phi r8
 ldi k_
 plo r8
 ldi 0
.a: str r8
 inc r8
 glo r8
 bnz .a
 sep r5
;; copy
f: lda r8
 str r9
 inc r9
 dec r7
 glo r7
 bnz f
 ghi r7
 bnz f
 sep r5
;; delay
f: ldi k_
 plo r15
.a: dec r15
 glo r15
 bnz .a
 sep r5
;; delay long
f: ldi k_
 phi r15
.a: dec r15
 ghi r15
 bnz .a
 sep r5
;; call routine
f: sex r2
 glo r6
 stxd
 ghi r6
 stxd
 ghi r3
 phi r6
 glo r3
 plo r6
 lda r6
 phi r3
 lda r6
 plo r3
 br f
;; return routine
f: ghi r6
 phi r3
 glo r6
 plo r3
 inc r2
 lda r2
 phi r6
 ldn r2
 plo r6
 br f
;; subroutine
f: ldi >f_
 phi r4
 ldi <f_
 plo r4
 sep r4
 ldi k_
 plo r7
 sep r5
;; keypad
f: ldi k_
 plo r9
.a: sex r2
 glo r9
 str r2
 out 2
 dec r2
 b3 .b
 dec r9
 glo r9
 bnz .a
 sep r5
.b: bn3 .c
 br .b
.c: glo r9
 ani 0fh
 sep r5
;; display
f: ldi >t_
 phi r10
 ldn r8
 ani 0fh
 adi <t_
 plo r10
 ldn r10
 str r2
 out 1
 dec r2
 inc r8
 sep r5
;; serial out
f: ldi 8
 plo r9
 seq
 glo r14
.a: shr
 plo r14
 bdf .b
 seq
 br .c
.b: req
 nop
.c: ldi k_
.d: smi 1
 bnz .d
 glo r14
 dec r9
 glo r9
 bnz .a
 req
 sep r5
;; serial in
f: b4 f
 ldi 8
 plo r9
.a: ldi k_
.b: smi 1
 bnz .b
 glo r14
 shr
 bn4 .c
 ori 80h
.c: plo r14
 dec r9
 glo r9
 bnz .a
 sep r5
;; uart
f: sex r2
 inp 3
 ani 80h
 bz f
 glo r14
 str r2
 out 2
 dec r2
 sep r5
;; message
f: lda r8
 bz .a
 plo r14
 sep r4
 dw f_
 br f
.a: sep r5
;; hexout
f: glo r14
 shr
 shr
 shr
 shr
 adi 30h
 smi 3ah
 bnf .a
 adi 7
.a: adi 3ah
 plo r15
 sep r4
 dw f_
 glo r14
 ani 0fh
 adi 30h
 sep r5
;; irq
f: dec r2
 sav
 dec r2
 str r2
 nop
 ghi r1
 phi r0
 ldi 0
 plo r0
.a: glo r0
 sex r2
 dec r0
 plo r0
 bn1 .a
 inc r2
 lda r2
 ret
;; irq timer
f: dec r2
 sav
 dec r2
 str r2
 glo r8
 adi 1
 plo r8
 bnz .a
 ghi r8
 adi 1
 phi r8
.a: ldxa
 ret
;; add16
f: sex r8
 glo r9
 add
 plo r9
 inc r8
 ghi r9
 adc
 phi r9
 sep r5
;; sub16
f: sex r10
 ldn r9
 sm
 str r9
 inc r9
 irx
 ldn r9
 smb
 str r9
 sep r5
;; mul
f: ldi 8
 plo r12
 ldi 0
 phi r13
.a: glo r13
 shr
 plo r13
 bnf .b
 ghi r13
 sex r8
 add
 phi r13
.b: ghi r13
 shrc
 phi r13
 dec r12
 glo r12
 bnz .a
 sep r5
;; clock
f: ldn r8
 adi 1
 str r8
 smi 60
 bnz .x
 ldi 0
 str r8
 inc r8
 ldn r8
 adi 1
 str r8
 smi 60
 lbnz f_
 ldi 0
 str r8
.x: sep r5
;; compare chain
f: ldn r7
 xri 'M'
 lbz f_
 ldn r7
 xri 'G'
 bz .a
 ldn r7
 smi 30h
 bnf .b
 lbr f_
.a: ghi r9
 phi r0
 glo r9
 plo r0
 sep r0
.b: sep r5
;; dispatch
f: shl
 adi <q_
 plo r10
 ldi >q_
 adci 0
 phi r10
 lda r10
 phi r3
 ldn r10
 plo r3
;; checksum
f: ldi 0
 plo r12
.a: lda r8
 str r2
 glo r12
 sex r2
 add
 plo r12
 dec r7
 ghi r7
 bnz .a
 glo r12
 xri k_
 lbnz f_
 sep r5
;; bits
f: ldn r8
 ani k_
 bz .a
 ldn r8
 ori k_
 str r8
 bq .b
 seq
 sep r5
.a: ldn r8
 xri 80h
 str r8
 lsnq
 req
 nop
.b: sep r5
;; ring
f: glo r9
 ani 1fh
 ori k_
 plo r9
 glo r14
 str r9
 inc r9
 glo r10
 str r2
 glo r9
 xor
 sep r5
;; init
f: dis
 db 0
 ldi >f_
 phi r3
 ldi <f_
 plo r3
 ldi k_
 phi r2
 ldi 0ffh
 plo r2
 ldi >f_
 phi r4
 ldi <f_
 plo r4
 ldi >f_
 phi r5
 ldi <f_
 plo r5
 sex r2
 sep r3
.a: sep r4
 dw f_
 sep r4
 dw f_
 ldn r8
 bz .a
 lbr f_
;; push
f: sex r2
 glo r8
 stxd
 ghi r8
 stxd
 sep r4
 dw f_
 irx
 ldxa
 phi r8
 ldx
 plo r8
 sep r5
;; logic
f: ldn r8
 shl
 shlc
 str r2
 ldn r9
 and
 or
 str r9
 ldi k_
 sd
 lsdf
 ldi 0
 skp
 shr
 sep r5
;; poll
f: bn1 f
 inp 4
 b2 .a
 str r8
.a: b1 .a
 sep r5
;; glue
 sep r4
 dw f_
 ldi k_
 plo r8
 ldi k_
 phi r8
 ldn r8
 str r9
 bz f_
 bnz f_
 ldi >t_
 phi r10
 ldi <t_
 plo r10
 glo r7
 plo r14
 inc r8
 dec r9
 sep r4
 dw f_
 lbr f_
 out 4
 dec r2
 ani k_
 inc r9
 lda r8
 ghi r7
