;; clear
f: mov r0,#k_
 mov r7,#k_
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
;; delay timer
f: mov a,#k_
 mov t,a
 strt t
.a: jtf .b
 jmp .a
.b: stop tcnt
 ret
;; scan
f: mov r2,#4
 mov r3,#0feh
.a: mov a,r3
 outl p1,a
 in a,p2
 cpl a
 anl a,#0fh
 jnz .b
 mov a,r3
 rl a
 mov r3,a
 djnz r2,.a
 clr a
 ret
.b: mov r4,#0
.c: rrc a
 jc .d
 inc r4
 jmp .c
.d: mov a,r2
 rl a
 rl a
 add a,r4
 ret
;; display
f: mov a,@r0
 anl a,#0fh
 add a,#k_
 movp a,@a
 outl p1,a
 mov a,r5
 outl p2,a
 rl a
 mov r5,a
 inc r0
 djnz r7,.a
 mov r0,#k_
 mov r5,#1
.a: ret
;; table3
f: mov r1,#k_
 mov a,@r1
 movp3 a,@a
 movx @r0,a
 ret
;; serial out
f: mov r7,#8
 anl p2,#0feh
 call f_
.a: mov a,r2
 rrc a
 mov r2,a
 jc .b
 anl p2,#0feh
 jmp .c
.b: orl p2,#1
 nop
.c: call f_
 djnz r7,.a
 orl p2,#1
 ret
;; serial in
f: jt0 f
 mov r7,#8
 call f_
.a: call f_
 clr c
 jnt0 .b
 cpl c
.b: mov a,r2
 rrc a
 mov r2,a
 djnz r7,.a
 ret
;; clock
f: mov r0,#k_
 mov a,@r0
 add a,#1
 da a
 mov @r0,a
 xrl a,#60h
 jnz .x
 mov @r0,#0
 inc r0
 mov a,@r0
 add a,#1
 da a
 mov @r0,a
 xrl a,#60h
 jz .y
.x: ret
.y: mov @r0,#0
 jmp f_
;; irq
f: sel rb1
 mov r2,a
 mov a,#k_
 mov t,a
 mov r0,#k_
 inc @r0
 mov a,@r0
 jnz .a
 cpl f0
.a: mov a,r2
 retr
;; ext irq
f: sel rb1
 mov r7,a
 in a,p1
 jb3 .a
 mov r6,#k_
 jmp .b
.a: mov r6,#k_
.b: ins a,bus
 mov @r0,a
 inc r0
 mov a,r7
 retr
;; add16
f: mov a,r2
 add a,r4
 mov r2,a
 mov a,r3
 addc a,r5
 mov r3,a
 ret
;; sub
f: cpl a
 add a,r6
 cpl a
 jc .a
 ret
.a: mov a,#k_
 ret
;; mul
f: mov r6,#8
 clr a
 clr c
.a: rrc a
 xch a,r2
 rrc a
 xch a,r2
 jnc .b
 add a,r3
.b: djnz r6,.a
 ret
;; div
f: mov r7,#8
.a: clr c
 mov a,r2
 rlc a
 mov r2,a
 mov a,r3
 rlc a
 mov r3,a
 cpl a
 add a,r4
 cpl a
 jc .b
 mov r3,a
 inc r2
.b: djnz r7,.a
 ret
;; compare chain
f: mov a,r2
 add a,#k_
 jz .a
 dec a
 jz .b
 dec a
 jz .c
 add a,#0f8h
 jc .d
 jmp f_
.a: call f_
 ret
.b: jmp f_
.c: clr f0
 cpl f0
 ret
.d: mov r0,#k_
 mov a,@r0
 orl a,#k_
 mov @r0,a
 ret
;; dispatch
f: anl a,#7
 add a,#k_
 jmpp @a
;; expander
f: movd a,p4
 mov r1,a
 movd a,p5
 swap a
 orl a,r1
 orld p6,a
 anld p7,a
 movd p4,a
 ret
;; ext ram
f: mov r0,#k_
 movx a,@r0
 mov r2,a
 inc r0
 movx a,@r0
 anl a,#7fh
 mov r1,#k_
 mov @r1,a
 ret
;; checksum
f: mov r0,#0
 clr a
.a: xch a,r0
 movp a,@a
 xch a,r0
 add a,r0
 djnz r7,.a
 xrl a,#k_
 ret
;; bits
f: in a,p2
 jb0 .a
 jb7 .b
 anl p1,#k_
 ret
.a: orl p1,#k_
 call f_
 ret
.b: jf0 .c
 jf1 .c
 cpl f1
.c: ret
;; port
f: anl bus,#k_
 orl bus,#k_
 mov a,#k_
 outl bus,a
 anl p2,#0f0h
 orl p2,#4
 nop
 anl p2,#0fbh
 ret
;; wait
f: jt1 f
.a: jnt1 .a
 jni .b
 jmp .a
.b: en i
 ret
;; init
f: dis i
 dis tcnti
 clr a
 mov psw,a
 mov r0,#3fh
.a: mov @r0,a
 djnz r0,.a
 mov a,#0ffh
 outl p1,a
 outl p2,a
 mov a,#k_
 mov t,a
 strt t
 en tcnti
 en i
.b: call f_
 mov r0,#k_
 mov a,@r0
 jz .b
 call f_
 jmp .b
;; swap digits
f: mov r1,#k_
 mov a,@r1
 swap a
 anl a,#0fh
 call f_
 mov a,@r1
 anl a,#0fh
 xchd a,@r0
 inc r1
 djnz r7,f
 ret
;; toggle
f: mov r0,#k_
 mov a,@r0
 xrl a,#k_
 mov @r0,a
 anl a,#k_
 jz .a
 sel mb1
 call f_
 sel mb0
.a: ret
;; queue
f: mov r0,#k_
 mov a,@r0
 inc a
 anl a,#7
 mov @r0,a
 add a,#k_
 mov r1,a
 mov a,r2
 mov @r1,a
 ret
;; glue
 call f_
 mov a,#k_
 mov r0,#k_
 mov @r0,a
 mov a,@r0
 mov r2,a
 jnz f_
 jz f_
 call f_
 in a,p1
 anl a,#k_
 outl p1,a
 orl p1,#k_
 anl p2,#k_
 mov r7,#k_
 inc r2
 add a,#k_
 jmp f_
 xch a,r3
 mov @r0,#k_
 dec r4
 jc f_
