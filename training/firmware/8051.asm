;; clear
f: mov r0,#k_
 clr a
.a: mov @r0,a
 inc r0
 djnz r7,.a
 ret
;; delay
f: mov r6,#k_
.a: mov r7,#k_
.b: djnz r7,.b
 djnz r6,.a
 ret
;; putc
f: jnb 99h,f
 clr 99h
 mov 99h,a
 ret
;; getc
f: jnb 98h,f
 mov a,99h
 clr 98h
 anl a,#7fh
 ret
;; message
f: mov dptr,#t_
.a: clr a
 movc a,@a+dptr
 jz .b
 acall .c
 inc dptr
 sjmp .a
.b: ret
.c: ljmp f_
;; hexout
f: push 0e0h
 swap a
 acall .a
 pop 0e0h
.a: anl a,#0fh
 add a,#0f6h
 jnc .b
 add a,#7
.b: add a,#3ah
 ljmp f_
;; irq timer
f: push 0e0h
 push 0d0h
 mov 8ch,#k_
 mov 8ah,#k_
 inc v_
 mov a,v_
 cjne a,#k_,.a
 mov v_,#0
 setb b_
.a: pop 0d0h
 pop 0e0h
 reti
;; serial irq
f: jnb 98h,.a
 clr 98h
 push 0e0h
 mov a,99h
 mov r0,v_
 mov @r0,a
 inc v_
 pop 0e0h
.a: jnb 99h,.b
 clr 99h
 clr b_
.b: reti
;; keypad
f: mov r2,#4
 mov r3,#0feh
.a: mov a,r3
 mov 90h,a
 mov a,0a0h
 cpl a
 anl a,#0fh
 jnz .b
 mov a,r3
 rl a
 mov r3,a
 djnz r2,.a
 clr c
 ret
.b: mov dptr,#t_
 movc a,@a+dptr
 setb c
 ret
;; display
f: mov r0,v_
 mov a,@r0
 mov dptr,#t_
 movc a,@a+dptr
 mov 80h,a
 mov a,v_
 rl a
 mov v_,a
 mov 0a0h,a
 inc r0
 cjne r0,#k_,.a
 mov r0,#k_
.a: mov v_,r0
 ret
;; lcd
f: clr b_
 mov 90h,a
 setb b_
 nop
 clr b_
 lcall f_
 ret
;; add16
f: mov a,v1_
 add a,v2_
 mov v1_,a
 mov a,v1_+1
 addc a,v2_+1
 mov v1_+1,a
 ret
;; sub16
f: clr c
 mov a,r4
 subb a,r6
 mov r4,a
 mov a,r5
 subb a,r7
 mov r5,a
 ret
;; mul16
f: mov a,r4
 mov 0f0h,r6
 mul ab
 mov r2,a
 mov r3,0f0h
 mov a,r5
 mov 0f0h,r6
 mul ab
 add a,r3
 mov r3,a
 ret
;; decimal
f: mov 0f0h,#100
 div ab
 lcall f_
 mov a,0f0h
 mov 0f0h,#10
 div ab
 swap a
 orl a,0f0h
 ret
;; clock
f: mov a,v1_
 add a,#1
 da a
 mov v1_,a
 cjne a,#60h,.x
 mov v1_,#0
 mov a,v2_
 add a,#1
 da a
 mov v2_,a
 cjne a,#60h,.x
 mov v2_,#0
 inc v3_
.x: ret
;; dispatch
f: mov dptr,#q_
 rl a
 mov r2,a
 movc a,@a+dptr
 push 0e0h
 mov a,r2
 inc a
 movc a,@a+dptr
 pop 82h
 mov 83h,82h
 mov 82h,a
 clr a
 jmp @a+dptr
;; compare chain
f: cjne a,#'R',.a
 ljmp f_
.a: cjne a,#'W',.b
 ljmp f_
.b: cjne a,#13,.c
 setb b_
 ret
.c: lcall f_
 sjmp f
;; external
f: mov dptr,#a_
 movx a,@dptr
 inc dptr
 mov r2,a
 movx a,@dptr
 xch a,r2
 mov dptr,#a_
 movx @dptr,a
 ret
;; copy external
f: movx a,@dptr
 inc dptr
 push 82h
 push 83h
 mov 82h,v1_
 mov 83h,v2_
 movx @dptr,a
 inc dptr
 mov v1_,82h
 mov v2_,83h
 pop 83h
 pop 82h
 djnz r7,f
 ret
;; checksum
f: mov dptr,#0
 mov r2,#0
.a: clr a
 movc a,@a+dptr
 add a,r2
 mov r2,a
 inc dptr
 mov a,83h
 cjne a,#k_,.a
 mov a,r2
 ret
;; crc
f: mov r7,#8
.a: clr c
 mov a,v1_
 rlc a
 mov v1_,a
 mov a,v2_
 rlc a
 mov v2_,a
 jnc .b
 xrl v2_,#10h
 xrl v1_,#21h
.b: djnz r7,.a
 ret
;; i2c
f: mov r7,#8
.a: rlc a
 mov b_,c
 setb b_
 acall .d
 clr b_
 djnz r7,.a
 setb b_
 mov c,b_
 ret
.d: nop
 nop
 ret
;; bits
f: jb b_,.a
 jnb b_,.b
 cpl b_
 ret
.a: jbc b_,.b
 anl c,b_
 orl c,/b_
 mov b_,c
.b: setb c
 ret
;; init
f: mov 81h,#k_
 mov 89h,#21h
 mov 8dh,#0fdh
 mov 98h,#50h
 setb 8eh
 mov 0a8h,#k_
 clr a
 mov 0d0h,a
 mov v_,a
 lcall f_
 setb 0afh
.a: lcall f_
 jnb b_,.a
 clr b_
 acall .b
 sjmp .a
.b: ljmp f_
;; ring
f: mov r0,v1_
 mov @r0,a
 inc r0
 cjne r0,#k_,.a
 mov r0,#k_
.a: mov a,r0
 cjne a,v2_,.b
 setb c
 ret
.b: mov v1_,r0
 clr c
 ret
;; timers
f: mov a,v1_
 jz .a
 dec v1_
 djnz v2_,.a
 setb b_
.a: djnz v3_,.b
 mov v3_,#k_
.b: ret
;; glue
 lcall f_
 acall f_
 mov v_,#k_
 mov a,v_
 jz f_
 jnz f_
 lcall f_
 setb b_
 clr b_
 jb b_,f_
 jnb b_,f_
 mov dptr,#t_
 mov a,#k_
 anl a,#k_
 mov v_,a
 mov r2,a
 mov r0,#k_
 cjne a,#k_,f_
 inc v_
 sjmp f_
 lcall f_
 orl a,#k_
 add a,#k_
 mov r7,#k_
