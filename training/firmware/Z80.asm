;; clear
f: ld hl,a_
 ld de,a_+1
 ld bc,w_
 ld (hl),0
 ldir
 ret
;; fill
f: ld b,k_
.a: ld (hl),a
 inc hl
 djnz .a
 ret
;; copy
f: ld hl,t_
 ld de,a_
 ld bc,k_
 ldir
 ret
;; delay
f: ld bc,w_
.a: dec bc
 ld a,b
 or c
 jr nz,.a
 ret
;; delay nested
f: push bc
 ld c,k_
.a: ld b,0
.b: djnz .b
 dec c
 jr nz,.a
 pop bc
 ret
;; sendchar
f: push af
.a: in a,(p_)
 bit 2,a
 jr z,.a
 pop af
 out (p_),a
 ret
;; getchar
f: in a,(p_)
 and 1
 jr z,f
 in a,(p_)
 and 7fh
 ret
;; message
f: ld a,(hl)
 inc hl
 or a
 ret z
 call f_
 jr f
;; hexout
f: push af
 rrca
 rrca
 rrca
 rrca
 call .a
 pop af
.a: and 0fh
 add a,90h
 daa
 adc a,40h
 daa
 jp f_
;; hexin
f: sub '0'
 ret c
 cp 10
 ccf
 ret nc
 and 0dfh
 sub 7
 cp 16
 ccf
 ret
;; number in
f: ld hl,0
.a: call f_
 jr c,.b
 add hl,hl
 add hl,hl
 add hl,hl
 add hl,hl
 or l
 ld l,a
 jr .a
.b: ld (v_),hl
 ret
;; mul
f: ld hl,0
 ld b,8
.a: add hl,hl
 rla
 jr nc,.b
 add hl,de
.b: djnz .a
 ret
;; div
f: ld b,16
 xor a
.a: add hl,hl
 rla
 cp c
 jr c,.b
 sub c
 inc l
.b: djnz .a
 ret
;; sub16
f: or a
 sbc hl,de
 ret nc
 add hl,de
 ret
;; clock
f: ld hl,v_
 ld a,(hl)
 inc a
 daa
 ld (hl),a
 cp 60h
 ret nz
 ld (hl),0
 inc hl
 ld a,(hl)
 add a,1
 daa
 ld (hl),a
 cp 60h
 ret c
 ld (hl),0
 ret
;; irq
f: push af
 push bc
 push de
 push hl
 ld hl,v_
 inc (hl)
 in a,(p_)
 bit 7,a
 call nz,f_
 pop hl
 pop de
 pop bc
 pop af
 ei
 reti
;; irq swap
f: ex af,af'
 exx
 ld hl,(v_)
 inc hl
 ld (v_),hl
 exx
 ex af,af'
 ei
 ret
;; nmi
f: push af
 ld a,k_
 out (p_),a
 pop af
 retn
;; keypad
f: ld b,4
 ld c,0feh
.a: ld a,c
 out (p_),a
 in a,(p_)
 cpl
 and 0fh
 jr nz,.b
 rlc c
 djnz .a
 scf
 ret
.b: ld d,0
.c: srl a
 jr c,.d
 inc d
 jr .c
.d: ld e,d
 ld d,0
 ld hl,t_
 add hl,de
 ld a,(hl)
 or a
 ret
;; display
f: ld ix,v_
 ld b,6
 ld c,1
.a: xor a
 out (p_),a
 ld e,(ix+0)
 ld d,0
 ld hl,t_
 add hl,de
 ld a,(hl)
 out (p_),a
 ld a,c
 out (p_),a
 rlca
 ld c,a
 inc ix
 djnz .a
 ret
;; dispatch
f: add a,a
 ld e,a
 ld d,0
 ld hl,q_
 add hl,de
 ld e,(hl)
 inc hl
 ld d,(hl)
 ex de,hl
 jp (hl)
;; compare chain
f: cp 'D'
 jp z,f_
 cp 'G'
 jr z,.a
 cp 13
 ret z
 jp f_
.a: ld hl,(v_)
 push hl
 ret
;; find
f: ld hl,t_
 ld bc,k_
 cpir
 ret nz
 ld hl,q_
 add hl,bc
 add hl,bc
 ld a,(hl)
 inc hl
 ld h,(hl)
 ld l,a
 jp (hl)
;; checksum
f: ld hl,w_
 ld bc,w_
 xor a
 ld e,a
.a: ld a,(hl)
 add a,e
 ld e,a
 inc hl
 dec bc
 ld a,b
 or c
 jr nz,.a
 ld a,e
 cp k_
 ret
;; crc
f: ld hl,(v_)
 xor h
 ld h,a
 ld b,8
.a: add hl,hl
 jr nc,.b
 ld a,h
 xor 10h
 ld h,a
 ld a,l
 xor 21h
 ld l,a
.b: djnz .a
 ld (v_),hl
 ret
;; ring
f: ld c,a
 ld a,(v_)
 ld e,a
 ld d,0
 ld hl,a_
 add hl,de
 ld (hl),c
 inc a
 and 1fh
 ld (v_),a
 ret
;; structure
f: ld iy,a_
 ld a,(iy+2)
 or a
 jr z,.a
 dec (iy+2)
 jr nz,.a
 set 0,(iy+5)
 ld (iy+3),k_
 ld l,(iy+6)
 ld h,(iy+7)
 inc hl
 ld (iy+6),l
 ld (iy+7),h
.a: bit 7,(iy+5)
 ret
;; bits
f: ld hl,v_
 bit 3,(hl)
 jr z,.a
 res 3,(hl)
 set 1,(hl)
 ret
.a: bit 0,(hl)
 call nz,f_
 ld a,(hl)
 neg
 ld (hl),a
 ret
;; block out
f: ld hl,t_
 ld b,k_
 ld c,p_
 otir
 ret
;; ramtest
f: ld hl,w_
.a: ld a,55h
 ld (hl),a
 cp (hl)
 jr nz,.e
 cpl
 ld (hl),a
 cp (hl)
 jr nz,.e
 inc hl
 ld a,h
 cp k_
 jr c,.a
.e: ld (v_),hl
 ret
;; init
f: di
 ld sp,w_
 im 1
 ld a,k_
 out (p_),a
 ld a,k_
 out (p_),a
 xor a
 ld (v_),a
 ld hl,f_
 ld (v_),hl
 call f_
 ei
.a: call f_
 ld a,(v_)
 or a
 jr z,.a
 call f_
 jp .a
;; im2
f: ld a,k_
 ld i,a
 im 2
 ei
 ret
;; wide
f: ld (v_),de
 ld bc,(v_)
 ld de,(v_)
 rr d
 rr e
 srl h
 rr l
 sla c
 rl b
 ret
;; glue
 call f_
 ld hl,t_
 ld de,w_
 ld a,k_
 ld (v_),a
 ld a,(v_)
 or a
 jr z,f_
 jr nz,f_
 jp f_
 call f_
 in a,(p_)
 and k_
 out (p_),a
 ld hl,(v_)
 ld (v_),hl
 cp k_
 ld b,k_
 inc hl
 ld c,a
 push hl
 pop hl
 ld a,(hl)
 call f_
 jr f_
 xor a
 bit 1,a
