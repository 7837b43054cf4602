; Fog signal controller of the West Mole, Wendlestrand harbour.
;
; Harbour, controller and program are invented: they were made up to rehearse with, and no such machine exists.
;
; A 6502 with one combination chip: 1 KiB of ROM, 64 bytes of RAM, two ports and a timer. The chip is selected as in
; the one-chip system of the MCS6500 Hardware Manual (1976), figure 1.36, with A12 and A10 of the processor on CS1 and
; RS0, and PB5 as a port bit:
;
;   ROM  A12 = 1, A10 = 1                                    mirrors at FC00-FFFF, where the vectors are
;   RAM  A12 = 0, A10 = 0, A9 = 0, A7 = 1, A6 = 1            00C0-00FF for variables, seen at 01C0-01FF as stack
;   I/O  A12 = 0, A10 = 0, A9 = 1, A8 = 1, A7 = 1, A6 = 1    03C0-03CF
;
; The teleprinter is the clock: every pass of the main loop sends one frame of eleven bits at 110 baud, idle or not, so
; that a pass takes a tenth of a second.
;
; Assemble: 64tass --nostart -o fog_signal.bin fog_signal.s

porta   = $03c0
ddra    = $03c1
portb   = $03c2
ddrb    = $03c3
time64  = $03c6         ; written: timer, 64 cycles a count
timeup  = $03c7         ; read: bit 7 set when the time is out

; port A, all outputs
valve   = $01           ; opens the horn
motor   = $02           ; runs the compressor
lamp    = $04
bell    = $08           ; calls the watch
alarm   = $10           ; red lamp in the watch room

; port B
fog     = $01           ; low: the fog detector sees fog
air     = $02           ; low: pressure too low to sound
answer  = $04           ; low: the watch presses the button
current = $08           ; high: the lamp draws current
line    = $10           ; output: teleprinter, high = mark
byhand  = $20           ; low: horn switched on by hand

bittime = 142           ; x 64 cycles of 1 us = 9.09 ms: 110 baud
watches = $30           ; minutes between bells, BCD
patience = 90           ; seconds until a bell counts as not answered

; messages, one bit each in 'due'
hello   = $01
foggy   = $02
clear   = $04
noair   = $08
relief  = $10
nowatch = $20
nolamp  = $40
badram  = $80

        * = $00c0
frame   .fill 1         ; what is left of the character on the line
text    .fill 2         ; next character of the message, or 0
due     .fill 1         ; messages that wait
tenths  .fill 1
seconds .fill 1         ; BCD
hours   .fill 1         ; BCD
minutes .fill 1         ; BCD, right after the hours
sounding .fill 1        ; not 0 while the signal sounds
step    .fill 1         ; in the table of blasts
count   .fill 1         ; tenths left in this step
shine   .fill 1         ; tenths left of light or eclipse
lit     .fill 1         ; not 0 while the lamp should burn
dark    .fill 1         ; passes without current
waiting .fill 1         ; seconds left to answer the bell, or 0
bellat  .fill 1         ; minute of the next bell, BCD
outputs .fill 1         ; copy of port A

        * = $fc00

reset   cld
        ldx #$ff
        txs
        lda #0
        sta porta
        stx ddra
        lda #line
        sta portb
        sta ddrb

; The sum of all bytes of the ROM is 00, or the bell rings for ever.
        lda #0
        tay
        ldx #4
        sta text
        lda #>reset
        sta text+1
        tya
sum     clc
        adc (text),y
        iny
        bne sum
        inc text+1
        dex
        bne sum
        tax
        beq cells
dead    lda #bell+alarm
        sta porta
        jmp dead

; Every cell of the RAM takes 55 and AA. Nothing is on the stack yet.
cells   ldx #$3f
cell    lda #$55
        sta $c0,x
        cmp $c0,x
        bne poor
        asl a
        sta $c0,x
        cmp $c0,x
        bne poor
        lda #0
        sta $c0,x
        dex
        bpl cell
        lda #hello
        bne start
poor    lda #badram
start   sta due
        lda #watches
        sta bellat
        lda #1
        sta count
        sta shine

main    jsr send
        jsr clock
        jsr sense
        jsr blast
        jsr light
        jsr watch
        lda outputs
        sta porta
        jmp main

; Send one frame: start, eight bits with the parity bit at mark, two stops; eleven marks where there is nothing to say.
send    jsr next
        sta frame
        ldx #11
        lda #0                  ; carry set: idle, the first bit is a mark as well
        bcs mark
space   lda portb
        and #255-line
        jmp put
mark    lda portb
        ora #line
put     sta portb
        lda #bittime
        sta time64
hold    bit timeup
        bpl hold
        sec
        ror frame
        dex
        beq sent
        bcs mark
        bcc space
sent    rts

; Give the next character in A, carry clear; or FF and carry set where no message is on.
next    lda text+1
        bne more
        ldx #7                  ; pick a message that waits, bit 7 first
seek    lda due
        and bits,x
        bne found
        dex
        bpl seek
        lda #$ff
        sec
        rts
found   eor due
        sta due
        lda low,x
        sta text
        lda high,x
        sta text+1
more    ldy #0
        lda (text),y
        bpl within
        sty text+1              ; the last character has bit 7 set
        ora #$80
        clc
        rts
within  inc text
        bne page
        inc text+1
page    cmp #5
        bcs plain
        tax                     ; 1 to 4: a digit of the time
        dex
        txa
        lsr a                   ; carry: the lower digit
        tax
        lda hours,x
        bcs lower
        lsr a
        lsr a
        lsr a
        lsr a
lower   and #$0f
        ora #"0"
plain   ora #$80
        clc
        rts

; A tenth of a second has gone by.
clock   inc tenths
        lda tenths
        cmp #10
        bcc early
        lda #0
        sta tenths
        sed
        lda seconds
        clc
        adc #1
        sta seconds
        cmp #$60
        bcc whole
        lda #0
        sta seconds
        lda minutes
        adc #0                  ; carry is set
        sta minutes
        cmp #$60
        bcc whole
        lda #0
        sta minutes
        lda hours
        adc #0
        sta hours
        cmp #$24
        bcc whole
        lda #0
        sta hours
whole   cld
early   rts

; Fog, or the switch in the watch room, starts the signal; its end stops it. The motor runs with it.
sense   lda portb
        and #fog+byhand
        cmp #fog+byhand
        beq fair
        lda sounding
        bne pressed
        lda #1
        sta sounding
        sta count
        lda #0
        sta step
        lda #motor
        ldx #foggy
        bne say
pressed lda portb
        and #air
        bne enough
        lda outputs
        and #alarm
        bne enough              ; said already
        lda #alarm
        ldx #noair
say     ora outputs
        sta outputs
        txa
        ora due
        sta due
enough  rts
fair    lda sounding
        beq enough
        lda #0
        sta sounding
        lda outputs
        and #255-motor-valve
        sta outputs
        lda #clear
        ora due
        sta due
        rts

; Work through the table of blasts: Morse W once a minute.
blast   lda sounding
        beq silent
        dec count
        bne silent
        ldx step
        lda blasts,x
        bne going
        tax
        lda blasts,x
going   sta count
        lda outputs
        and #255-valve
        ora blasts+1,x
        sta outputs
        inx
        inx
        stx step
silent  rts

blasts  .byte 10, valve, 10, 0, 30, valve, 10, 0, 30, valve, 255, 0, 255, 0
        .byte 0

; Occulting light: 4.5 seconds of light, 1.5 of eclipse. A lamp that draws no current for a second is reported once.
light   dec shine
        bne steady
        lda lit
        eor #lamp
        sta lit
        beq eclipse
        lda #45
        bne over
eclipse lda #15
over    sta shine
        lda outputs
        and #255-lamp
        ora lit
        sta outputs
steady  lda lit
        beq told
        lda portb
        and #current
        bne well
        lda dark
        cmp #10
        beq told                ; said already
        inc dark
        cmp #9
        bne told
        lda #nolamp
        ora due
        sta due
        lda outputs
        ora #alarm
        sta outputs
        rts
well    lda #0
        sta dark
told    rts

; Ring for the watch every half hour; no answer within a minute and a half lights the red lamp.
watch   lda portb
        and #answer
        bne asleep
        lda outputs
        and #bell+alarm
        beq calm                ; nothing to answer
        eor outputs
        sta outputs
        lda #0
        sta waiting
        lda #relief
        bne note
asleep  lda tenths
        bne calm                ; once a second from here
        lda waiting
        beq idle
        dec waiting
        bne calm
        lda outputs
        and #255-bell
        ora #alarm
        sta outputs
        lda #nowatch
note    ora due
        sta due
calm    rts
idle    lda minutes
        cmp bellat
        bne calm
        lda seconds
        bne calm
        lda #patience
        sta waiting
        lda outputs
        ora #bell
        sta outputs
        sed
        lda bellat
        clc
        adc #watches
        cld
        cmp #$60
        bcc later
        lda #0
later   sta bellat
        rts

; The button on the board: print the heading.
nmi     pha
        lda #hello
        ora due
        sta due
        pla
irq     rti

bits    .byte $01, $02, $04, $08, $10, $20, $40, $80
low     .byte <m0, <m1, <m2, <m3, <m4, <m5, <m6, <m7
high    .byte >m0, >m1, >m2, >m3, >m4, >m5, >m6, >m7

; 1 to 4 stand for the digits of the hour and the minute. Bit 7 ends a message.
m0      .byte 13, 10
        .text "WENDLESTRAND HARBOUR - WEST MOLE", 13, 10
        .text "FOG SIGNAL CONTROL 3. WATCH LOG.", 13, $8a
m1      .byte 1, 2, ":", 3, 4
        .text " FOG. HORN STARTED, W EACH MINUTE", 13, $8a
m2      .byte 1, 2, ":", 3, 4
        .text " CLEAR. HORN STOPPED", 13, $8a
m3      .byte 1, 2, ":", 3, 4
        .text " AIR BELOW 5 BAR", 13, $8a
m4      .byte 1, 2, ":", 3, 4
        .text " WATCH ANSWERED", 13, $8a
m5      .byte 1, 2, ":", 3, 4
        .text " NO ANSWER FROM THE WATCH", 13, $8a
m6      .byte 1, 2, ":", 3, 4
        .text " LAMP OUT", 13, $8a
m7      .text "RAM FAULT", 13, $8a

        .fill $fff9 - *, $ff
adjust  .byte $35               ; makes the sum of all bytes 00
        .word nmi, reset, irq
