/* Three pumps, a state machine with timers, and messages on a two-line display. */
typedef unsigned char u8; typedef unsigned int u16;
enum { IDLE, PRIME, RUN, HOLD, FAULT };
struct pump { u8 state; u16 timer, hours; u8 trips; } pumps[3];
volatile u8 level, flow, relays, lcd_data, lcd_ctrl;
const char *const names[] = {"idle    ", "priming ", "running ", "holding ", "FAULT   "};
static void lcd(u8 c, u8 rs) { u8 i; lcd_data = c; lcd_ctrl = rs | 4; for (i = 0; i < 20; i++) ; lcd_ctrl = rs; }
static void text(u8 where, const char *s) { lcd(where | 0x80, 0); while (*s) lcd(*s++, 1); }
static void decimal(u16 v) { char b[5]; u8 i = 5; do { b[--i] = v % 10 + '0'; v /= 10; } while (i && v); for (; i < 5; i++) lcd(b[i], 1); }
static void enter(struct pump *p, u8 s, u16 t) { p->state = s; p->timer = t; }
static void run(u8 n) {
    struct pump *p = &pumps[n];
    if (p->timer) p->timer--;
    switch (p->state) {
    case IDLE: if (level > 100 + n * 20) enter(p, PRIME, 50); break;
    case PRIME: relays |= 1 << n; if (!p->timer) { if (flow & (1 << n)) enter(p, RUN, 6000); else { p->trips++; enter(p, FAULT, 3000); } } break;
    case RUN: p->hours++; if (level < 40) enter(p, HOLD, 200); else if (!(flow & (1 << n))) enter(p, FAULT, 3000); break;
    case HOLD: relays &= ~(1 << n); if (!p->timer) enter(p, IDLE, 0); break;
    case FAULT: relays &= ~(1 << n); if (!p->timer && p->trips < 3) enter(p, IDLE, 0); break;
    }
}
void main(void) {
    u8 n;
    lcd(0x38, 0); lcd(0x0C, 0); lcd(1, 0);
    for (;;) for (n = 0; n < 3; n++) { run(n); text(n * 0x20, names[pumps[n].state]); decimal(pumps[n].hours); }
}
