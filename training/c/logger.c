/* Samples, statistics, run-length packing into a buffer, and a serial EEPROM by bit banging. */
typedef unsigned char u8; typedef unsigned int u16; typedef unsigned long u32;
volatile u8 pins, adc; u16 samples[32]; u8 store[64]; u8 used;
static void scl(u8 v) { if (v) pins |= 1; else pins &= ~1; }
static void sda(u8 v) { if (v) pins |= 2; else pins &= ~2; }
static void start(void) { sda(1); scl(1); sda(0); scl(0); }
static void stop(void) { sda(0); scl(1); sda(1); }
static u8 write(u8 b) { u8 i; for (i = 0; i < 8; i++) { sda(b & 0x80); scl(1); scl(0); b <<= 1; } sda(1); scl(1); i = pins & 2; scl(0); return !i; }
static u8 read(u8 ack) { u8 i, b = 0; for (i = 0; i < 8; i++) { b <<= 1; scl(1); if (pins & 2) b |= 1; scl(0); } sda(!ack); scl(1); scl(0); return b; }
u8 save(u16 at, const u8 *p, u8 n) { start(); if (!write(0xA0)) return 0; write(at >> 8); write((u8)at); while (n--) write(*p++); stop(); return 1; }
u8 load(u16 at) { u8 b; start(); write(0xA0); write(at >> 8); write((u8)at); start(); write(0xA1); b = read(0); stop(); return b; }
static u16 mean(void) { u32 s = 0; u8 i; for (i = 0; i < 32; i++) s += samples[i]; return (u16)(s / 32); }
static u16 spread(void) { u16 lo = 0xFFFF, hi = 0; u8 i; for (i = 0; i < 32; i++) { if (samples[i] < lo) lo = samples[i]; if (samples[i] > hi) hi = samples[i]; } return hi - lo; }
static void pack(void) { u8 i = 0, n; used = 0; while (i < 32 && used < 62) { for (n = 1; i + n < 32 && samples[i + n] == samples[i]; n++) ; store[used++] = n; store[used++] = samples[i] >> 2; i += n; } }
void main(void) {
    u8 i; u16 at = 0;
    for (;;) {
        for (i = 0; i < 32; i++) samples[i] = adc * 4u + (i & 3);
        if (spread() > mean() / 8) { pack(); if (save(at, store, used)) at += used; if (load(0) == 0xFF) at = 0; }
    }
}
