/* A fixed-point controller with ramps, limits, filters and a table of set points. */
typedef struct { int target, actual, sum, last; unsigned char gain, flags; } loop_t;
loop_t loops[4];
volatile int inputs[4]; volatile unsigned char outputs[4], alarms;
const int points[8] = {0, 120, 250, 400, 610, 800, 900, 1000};
static int limit(int v, int low, int high) { if (v < low) return low; if (v > high) return high; return v; }
static int filter(int old, int now) { return old + ((now - old) >> 2); }
static int step(loop_t *l) {
    int e = l->target - l->actual, d = e - l->last;
    l->sum = limit(l->sum + e, -2000, 2000);
    l->last = e;
    return limit((int)(((long)e * l->gain + l->sum * 3 + d * 8) >> 4), 0, 255);
}
unsigned int root(unsigned int n) { unsigned int r = 0, b = 0x4000; while (b > n) b >>= 2; while (b) { if (n >= r + b) { n -= r + b; r = (r >> 1) + b; } else r >>= 1; b >>= 2; } return r; }
void main(void) {
    unsigned char i; unsigned int t = 0;
    for (i = 0; i < 4; i++) { loops[i].gain = 10 + i; loops[i].target = points[i]; }
    for (;;) {
        for (i = 0; i < 4; i++) {
            loop_t *l = &loops[i];
            l->actual = filter(l->actual, inputs[i]);
            outputs[i] = step(l);
            if (l->actual > 950) { l->flags |= 1; alarms |= 1 << i; } else l->flags &= ~1;
        }
        if (++t % 600 == 0) loops[t & 3].target = points[(t / 600) & 7];
        alarms ^= root(t) & 0x80;
    }
}
