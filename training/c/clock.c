/* A clock that counts in BCD, with an alarm and a settings menu. */
unsigned char sec, min, hour, alarm_min, alarm_hour, mode, beeps;
volatile unsigned char port, keys;
static const unsigned char segments[10] = {0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F};
static unsigned char up(unsigned char v, unsigned char top) {
    v++;
    if ((v & 15) > 9) v += 6;
    return v >= top ? 0 : v;
}
void tick(void) {
    sec = up(sec, 0x60);
    if (sec) return;
    min = up(min, 0x60);
    if (min) return;
    hour = up(hour, 0x24);
}
void show(void) {
    unsigned char i;
    static const unsigned char *p;
    unsigned char digits[4];
    digits[0] = hour >> 4; digits[1] = hour & 15; digits[2] = min >> 4; digits[3] = min & 15;
    for (i = 0; i < 4; i++) { p = segments + digits[i]; port = *p | (mode == i ? 0x80 : 0); }
}
void main(void) {
    for (;;) {
        tick();
        switch (keys) {
        case 1: mode = (mode + 1) & 3; break;
        case 2: if (mode == 1) hour = up(hour, 0x24); else if (mode == 2) min = up(min, 0x60); break;
        case 4: alarm_hour = hour; alarm_min = min; break;
        default: break;
        }
        if (hour == alarm_hour && min == alarm_min) { for (beeps = 0; beeps < 10; beeps++) port = beeps; }
        show();
    }
}
