/* Pieces of invented controllers: a tide gauge, a lock gate, a bell, a ticket printer. The bench picks some of them
 * for each program; PICK_n is set for those. Nothing of it is of any product. */
typedef unsigned char u8;
typedef unsigned int u16;

#define PORT(n) (*(volatile u8 *)(PORTS + (n)))

u8 clock_[4];
u8 line_[24];
u8 state_;
u16 level_[8];
u16 seed_;
u8 queue_[16];
u8 head_, tail_;

#ifdef PICK_0
const char greeting[] = "TIDE GAUGE 3 READY\r\n";
const u8 days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
void tick(void) {
    if (++clock_[0] < 60) return;
    clock_[0] = 0;
    if (++clock_[1] < 60) return;
    clock_[1] = 0;
    if (++clock_[2] < 24) return;
    clock_[2] = 0;
    ++clock_[3];
}
#endif
#ifdef PICK_1
u16 smooth(u16 sample) {
    u8 i;
    u16 sum = 0;
    for (i = 7; i; --i) level_[i] = level_[i - 1];
    level_[0] = sample;
    for (i = 0; i < 8; ++i) sum += level_[i] >> 3;
    return sum;
}
#endif
#ifdef PICK_2
const u8 segments[16] = {0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f, 0x77, 0x7c, 0x39, 0x5e, 0x79, 0x71};
void show(u8 place, u8 digit) {
    PORT(0) = 0;
    PORT(1) = (u8)(1 << (place & 7));
    PORT(0) = segments[digit & 15];
}
#endif
#ifdef PICK_3
u8 put(u8 c) {
    u8 next = (head_ + 1) & 15;
    if (next == tail_) return 0;
    queue_[head_] = c;
    head_ = next;
    return 1;
}
u8 get(void) {
    u8 c;
    if (head_ == tail_) return 0;
    c = queue_[tail_];
    tail_ = (tail_ + 1) & 15;
    return c;
}
#endif
#ifdef PICK_4
void gate(u8 command) {
    switch (command) {
    case 'O': if (!(PORT(2) & 0x10)) state_ |= 1; break;
    case 'C': state_ &= 0xfe; PORT(2) = 0x20; break;
    case 'H': PORT(2) = 0; state_ = 0; break;
    case '?': line_[0] = state_ + '0'; line_[1] = 0; break;
    default: line_[0] = '!'; line_[1] = 0;
    }
}
#endif
#ifdef PICK_5
u16 crc(const u8 *p, u8 n) {
    u16 c = 0xffff;
    u8 k;
    while (n--) {
        c ^= (u16)*p++ << 8;
        for (k = 8; k; --k) c = (c & 0x8000) ? (c << 1) ^ 0x1021 : c << 1;
    }
    return c;
}
#endif
#ifdef PICK_6
void decimal(u16 v, u8 *to) {
    static const u16 powers[5] = {10000, 1000, 100, 10, 1};
    u8 i, d;
    for (i = 0; i < 5; ++i) {
        d = '0';
        while (v >= powers[i]) { v -= powers[i]; ++d; }
        *to++ = d;
    }
    *to = 0;
}
#endif
#ifdef PICK_7
u8 keys(void) {
    u8 row, col, seen = 0xff;
    for (row = 0; row < 4; ++row) {
        PORT(3) = (u8)~(1 << row);
        col = PORT(4) & 15;
        if (col != 15) seen = (row << 2) | col;
    }
    return seen;
}
#endif
#ifdef PICK_8
const char fault_a[] = "LAMP FAILED";
const char fault_b[] = "AIR PRESSURE LOW";
const char fault_c[] = "NO ANSWER FROM WATCH";
const char *const faults[3] = {fault_a, fault_b, fault_c};
void report(u8 n) {
    const char *p = faults[n % 3];
    while (*p) { PORT(5) = *p++; while (PORT(6) & 1) ; }
}
#endif
#ifdef PICK_9
u8 rnd(void) {
    seed_ = seed_ * 25173u + 13849u;
    return seed_ >> 8;
}
#endif
#ifdef PICK_10
const u8 sine[32] = {128, 152, 176, 198, 218, 234, 245, 253, 255, 253, 245, 234, 218, 198, 176, 152,
                     128, 103, 79, 57, 37, 21, 10, 2, 0, 2, 10, 21, 37, 57, 79, 103};
void tone(u8 step, u8 length) {
    u8 phase = 0;
    while (length--) { PORT(7) = sine[phase >> 3]; phase += step; }
}
#endif
#ifdef PICK_11
u8 bcd(u8 a, u8 b) {
    u8 low = (a & 15) + (b & 15), high = (a >> 4) + (b >> 4);
    if (low > 9) { low -= 10; ++high; }
    if (high > 9) high -= 10;
    return (high << 4) | low;
}
#endif
#ifdef PICK_12
u8 bubble(u8 *p, u8 n) {
    u8 i, t, swaps = 0, again;
    do {
        again = 0;
        for (i = 1; i < n; ++i)
            if (p[i - 1] > p[i]) { t = p[i]; p[i] = p[i - 1]; p[i - 1] = t; again = 1; ++swaps; }
    } while (again);
    return swaps;
}
#endif
#ifdef PICK_13
u8 receive(void) {
    u8 i, c = 0;
    while (PORT(8) & 0x80) ;
    for (i = 8; i; --i) { c >>= 1; if (PORT(8) & 0x80) c |= 0x80; }
    return c;
}
void send(u8 c) {
    u8 i;
    PORT(9) = 0;
    for (i = 0; i < 8; ++i) { PORT(9) = (c & 1) ? 0x80 : 0; c >>= 1; }
    PORT(9) = 0x80;
}
#endif

void main(void) {
    state_ = 0;
    head_ = tail_ = 0;
    for (;;) {
#ifdef PICK_0
        tick();
        PORT(1) = greeting[clock_[0] & 15] + days[clock_[3] % 12];
#endif
#ifdef PICK_1
        level_[0] = smooth(PORT(2) * 5u);
#endif
#ifdef PICK_2
        show(clock_[0], clock_[1] & 7);
#endif
#ifdef PICK_3
        if (put(PORT(4))) PORT(5) = get();
#endif
#ifdef PICK_4
        gate(line_[3]);
#endif
#ifdef PICK_5
        if (crc(line_, 12) == 0x1234) state_ = 4;
#endif
#ifdef PICK_6
        decimal(level_[1] + 77, line_);
#endif
#ifdef PICK_7
        line_[2] = keys();
#endif
#ifdef PICK_8
        if (state_ & 8) report(state_ & 7);
#endif
#ifdef PICK_9
        line_[5] = rnd() & 0x3f;
#endif
#ifdef PICK_10
        tone(line_[6], 200);
#endif
#ifdef PICK_11
        clock_[0] = bcd(clock_[0], 0x15);
#endif
#ifdef PICK_12
        bubble(line_, sizeof line_);
#endif
#ifdef PICK_13
        send(receive() ^ 0x55);
#endif
        CALLS
    }
}
