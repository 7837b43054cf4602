;; sod
f: mvi b,9
.a: mvi a,0c0h
 sim
 call f_
 mov a,c
 rar
 mov c,a
 dcr b
 jnz .a
 ret
;; sid
f: rim
 ral
 jc f
 call f_
 rim
 ral
 mov a,c
 rar
 mov c,a
 ret
;; mask
f: mvi a,0bh
 sim
 ei
 ret
;; pending
f: rim
 ani 70h
 rz
 push psw
 call f_
 pop psw
 mvi a,18h
 sim
 ret
