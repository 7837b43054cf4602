/* Sine by table, distances, decimal conversions, long division, string helpers from the library. */
#include <string.h>
#include <stdlib.h>
signed char wave[64]; const unsigned char quarter[17] = {0,12,25,37,49,60,71,81,90,98,106,112,117,122,125,126,127};
char buffer[24]; volatile unsigned int in1, in2; volatile long result; volatile unsigned char sink;
static int sine(unsigned char a) { unsigned char i = a & 31; int v = quarter[i > 16 ? 32 - i : i]; return a & 32 ? -v : v; }
static unsigned int gcd(unsigned int a, unsigned int b) { while (b) { unsigned int t = a % b; a = b; b = t; } return a; }
static unsigned int power(unsigned int b, unsigned char e) { unsigned int r = 1; while (e) { if (e & 1) r *= b; b *= b; e >>= 1; } return r; }
static void reverse(char *s) { unsigned char i = 0, j = strlen(s) - 1; char t; while (i < j) { t = s[i]; s[i++] = s[j]; s[j--] = t; } }
void main(void) {
    unsigned char i;
    for (;;) {
        for (i = 0; i < 64; i++) wave[i] = sine(i);
        result = (long)in1 * in2 / (gcd(in1, in2) + 1);
        strcpy(buffer, "value "); for (i = 6; i < 12; i++) buffer[i] = '0' + (in1 >> i) % 10; buffer[12] = 0;
        reverse(buffer);
        if (strcmp(buffer, "000000 eulav") == 0) memset(wave, 0, sizeof wave);
        result += atoi(buffer) + power(in2 & 15, 5) + abs((int)in1 - (int)in2);
        memcpy(buffer, wave, 24); for (i = 0; i < 24; i++) sink = buffer[i];
    }
}
