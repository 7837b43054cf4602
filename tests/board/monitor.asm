; A small monitor for a 6502 board, for tests: 'D first,last' dumps, 'M address byte' writes, 'G address' jumps.
; ESC forgets the line, and stops a dump. Assemble with: 64tass --nostart --output monitor.bin monitor.asm
; Board: RAM 0000-07FF, line at F000 (data) and F001 (bit 0: a character waits), this program F800-FFFF.

data    = $f000
status  = $f001
ptr     = $10
last    = $12
val     = $14
buffer  = $0200

        * = $f800

reset   ldx #$ff
        txs
        cld
prompt  jsr newline
        lda #'*'
        jsr put
        ldx #0
line    jsr get
        cmp #$1b
        beq prompt
        cmp #13
        beq execute
        jsr put
        cpx #40
        bcs line
        sta buffer,x
        inx
        bne line

execute lda #0
        sta buffer,x
        jsr newline
        ldx #1
        lda buffer
        beq prompt
        cmp #'D'
        beq dump
        cmp #'M'
        beq modify
        cmp #'G'
        beq go
bad     lda #'?'
        jsr put
        jmp prompt

go      jsr number
        bcs bad
        jmp (val)

modify  jsr number
        bcs bad
        lda val
        sta ptr
        lda val+1
        sta ptr+1
        jsr number
        bcs bad
        ldy #0
        lda val
        sta (ptr),y
        jmp prompt

dump    jsr number
        bcs bad
        lda val
        sta ptr
        lda val+1
        sta ptr+1
        lda buffer,x
        cmp #','
        bne bad
        inx
        jsr number
        bcs bad
        lda val
        sta last
        lda val+1
        sta last+1
        lda buffer,x
        bne bad
        ldy #0
row     lda ptr+1
        jsr byte
        lda ptr
        jsr byte
        jsr blank
cell    jsr blank
        lda (ptr),y
        jsr byte
        lda ptr
        cmp last
        bne more
        lda ptr+1
        cmp last+1
        beq over
more    inc ptr
        bne same
        inc ptr+1
same    lda status
        beq on
        lda data
        cmp #$1b
        beq over
on      lda ptr
        and #7
        bne cell
        jsr newline
        jmp row
over    jmp prompt

; the next number of the line, from x on, to val; carry set where there is none
number  lda #0
        sta val
        sta val+1
spaces  lda buffer,x
        cmp #' '
        bne first
        inx
        bne spaces
first   jsr digit
        bcs none
next    ldy #4
shift   asl val
        rol val+1
        dey
        bne shift
        ora val
        sta val
        inx
        lda buffer,x
        jsr digit
        bcc next
        clc
none    rts

; the value of a hex digit in a; carry set where it is none
digit   cmp #'0'
        bcc no
        cmp #'9'+1
        bcc tens
        cmp #'A'
        bcc no
        cmp #'F'+1
        bcs no
        sbc #6
tens    and #15
        clc
        rts
no      sec
        rts

byte    pha
        lsr
        lsr
        lsr
        lsr
        jsr nibble
        pla
nibble  and #15
        cmp #10
        bcc decimal
        adc #6
decimal adc #'0'
        bne put
blank   lda #' '
        bne put
newline lda #13
        jsr put
        lda #10
put     sta data
        rts
get     lda status
        beq get
        lda data
        rts

        .fill $fffa-*, 0
        .word reset, reset, reset
