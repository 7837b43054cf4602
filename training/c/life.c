/* Cells on a small grid, a random generator, sorting and a bitmap font. */
typedef unsigned char u8; typedef unsigned int u16;
u8 grid[2][16]; u16 seed = 1; volatile u8 row, col, key; u8 scores[10];
const u8 font[5][5] = {{0x3E,0x51,0x49,0x45,0x3E},{0,0x42,0x7F,0x40,0},{0x42,0x61,0x51,0x49,0x46},{0x21,0x41,0x45,0x4B,0x31},{0x18,0x14,0x12,0x7F,0x10}};
u8 chance(void) { seed ^= seed << 7; seed ^= seed >> 9; seed ^= seed << 8; return (u8)seed; }
static u8 cell(u8 *g, u8 y, u8 x) { return (g[y & 15] >> (x & 7)) & 1; }
static void grow(u8 *from, u8 *to) {
    u8 x, y, n;
    for (y = 0; y < 16; y++) { to[y] = 0; for (x = 0; x < 8; x++) {
        n = cell(from, y - 1, x - 1) + cell(from, y - 1, x) + cell(from, y - 1, x + 1) + cell(from, y, x - 1)
          + cell(from, y, x + 1) + cell(from, y + 1, x - 1) + cell(from, y + 1, x) + cell(from, y + 1, x + 1);
        if (n == 3 || (n == 2 && cell(from, y, x))) to[y] |= 1 << x; } }
}
static void sort(u8 *a, u8 n) { u8 i, j, t; for (i = 1; i < n; i++) { t = a[i]; for (j = i; j && a[j - 1] < t; j--) a[j] = a[j - 1]; a[j] = t; } }
static void draw(u8 *g) { u8 y; for (y = 0; y < 16; y++) { row = y; col = g[y]; } }
static void digit(u8 d) { u8 i; for (i = 0; i < 5; i++) { row = i; col = font[d % 5][i]; } }
void main(void) {
    u8 turn = 0, i, count;
    for (i = 0; i < 16; i++) grid[0][i] = chance();
    for (;;) {
        grow(grid[turn], grid[turn ^ 1]); turn ^= 1; draw(grid[turn]);
        for (count = i = 0; i < 16; i++) { u8 v = grid[turn][i]; while (v) { count += v & 1; v >>= 1; } }
        scores[9] = count; sort(scores, 10); digit(scores[0]);
        if (key == 3 || count < 4) for (i = 0; i < 16; i++) grid[turn][i] = chance();
    }
}
