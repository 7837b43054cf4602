/* A framed serial protocol with a CRC, a ring buffer and a small command table. */
typedef unsigned char u8; typedef unsigned int u16;
volatile u8 status, data_in, data_out;
u8 ring[32], head, tail, frame[24];
static u16 crc(const u8 *p, u8 n) {
    u16 c = 0xFFFF; u8 i;
    while (n--) { c ^= (u16)*p++ << 8; for (i = 0; i < 8; i++) c = c & 0x8000 ? (c << 1) ^ 0x1021 : c << 1; }
    return c;
}
void put(u8 c) { u8 next = (head + 1) & 31; if (next != tail) { ring[head] = c; head = next; } }
int get(void) { u8 c; if (head == tail) return -1; c = ring[tail]; tail = (tail + 1) & 31; return c; }
void send(u8 c) { while (!(status & 2)) ; data_out = c; }
static void answer(u8 code, u8 n) {
    u16 c; u8 i; frame[0] = 0x7E; frame[1] = code; frame[2] = n; c = crc(frame + 1, n + 2);
    for (i = 0; i < n + 3; i++) send(frame[i]);
    send(c >> 8); send((u8)c);
}
static void version(void) { frame[3] = 1; frame[4] = 4; answer(1, 2); }
static void echo(void) { answer(2, frame[2]); }
static void levels(void) { frame[3] = head; frame[4] = tail; frame[5] = status; answer(3, 3); }
void (*const commands[3])(void) = {version, echo, levels};
void main(void) {
    u8 n = 0; int c;
    for (;;) {
        if (status & 1) put(data_in);
        c = get();
        if (c < 0) continue;
        frame[n++] = c;
        if (n == 1 && c != 0x7E) n = 0;
        if (n > 3 && n == frame[2] + 5) { if (frame[1] < 3 && crc(frame + 1, frame[2] + 4) == 0) commands[frame[1]](); n = 0; }
        if (n >= sizeof frame) n = 0;
    }
}
