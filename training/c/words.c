/* A line interpreter: splits words, converts numbers, keeps named values, prints decimal and hex. */
typedef unsigned char u8;
volatile u8 con_status, con_data;
char line[40]; long values[26];
const char *const help[] = {"SET name value", "SHOW name", "LIST", "DUMP address", "?"};
void out(char c) { while (!(con_status & 2)) ; con_data = c; }
char in(void) { while (!(con_status & 1)) ; return con_data & 0x7F; }
void print(const char *s) { while (*s) out(*s++); }
void number(long v) { char b[12]; u8 i = 0; if (v < 0) { out('-'); v = -v; } do { b[i++] = '0' + v % 10; v /= 10; } while (v); while (i) out(b[--i]); }
void hex(unsigned int v, u8 n) { while (n--) out("0123456789ABCDEF"[(v >> (n * 4)) & 15]); }
static const char *skip(const char *p) { while (*p == ' ') p++; return p; }
static long parse(const char *p) { long v = 0; while (*p >= '0' && *p <= '9') v = v * 10 + (*p++ - '0'); return v; }
static u8 same(const char *a, const char *b) { while (*b && *b != ' ') if ((*a++ & 0xDF) != *b++) return 0; return 1; }
static void dump(const u8 *p) { u8 i, j; for (i = 0; i < 8; i++) { hex((unsigned int)p, 4); for (j = 0; j < 8; j++) { out(' '); hex(*p++, 2); } print("\r\n"); } }
void main(void) {
    u8 n; char c; const char *p;
    for (;;) {
        print("> "); n = 0;
        while ((c = in()) != '\r') { if (c == 8) { if (n) n--; } else if (n < 39) line[n++] = c; out(c); }
        line[n] = 0; p = skip(line);
        if (same(p, help[0])) { p = skip(p + 3); values[(*p & 31) % 26] = parse(skip(p + 1)); }
        else if (same(p, help[1])) { p = skip(p + 4); number(values[(*p & 31) % 26]); }
        else if (same(p, help[2])) { for (n = 0; n < 26; n++) if (values[n]) { out('A' + n); out('='); number(values[n]); print("\r\n"); } }
        else if (same(p, help[3])) dump((const u8 *)(int)parse(skip(p + 4)));
        else for (n = 0; n < 5; n++) { print(help[n]); print("\r\n"); }
    }
}
