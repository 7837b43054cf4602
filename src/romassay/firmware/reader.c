/* A reader for one specimen, for avr-gcc and avr-libc. Its pins are in pins.h, which is made from the rig.

   The data pins are inputs from reset on and stay so: nothing here writes their direction register.
   The line is 115200 baud, 8N1. Commands end with a line feed:
     d FIRST LAST   reads a range (hex) and sends Intel HEX with checksums, then the end record
     r              does the last range again
     v              reports the reader's own supply in millivolts
   Control-C stops a dump. Each answer ends with a new line and '>'. */

#include <avr/io.h>
#include <stdint.h>
#include <util/delay.h>
#include "pins.h"

#define PER_RECORD 16

static uint16_t first, last;

static void serial_begin(void)
{
    UBRR0 = F_CPU / 8 / 115200 - 1 + (F_CPU / 8 % 115200 > 115200 / 2);
    UCSR0A = 1 << U2X0;
    UCSR0B = 1 << RXEN0 | 1 << TXEN0;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
}

static void put(char c)
{
    while (!(UCSR0A & 1 << UDRE0))
        ;
    UDR0 = c;
}

static void put_text(const char *text)
{
    while (*text)
        put(*text++);
}

static void put_nibble(uint8_t value)
{
    put(value < 10 ? '0' + value : 'A' + value - 10);
}

static uint8_t put_byte(uint8_t value)
{
    put_nibble(value >> 4);
    put_nibble(value & 15);
    return value;
}

static uint8_t stopped(void)
{
    return UCSR0A & 1 << RXC0 && UDR0 == 3;
}

/* The last sample that was taken while the clock was still high; without a clock, after the access time. */
static uint8_t sample(void)
{
    uint8_t value;
#ifdef CLOCK_PIN
    uint8_t next;
    while (CLOCK_PIN & 1 << CLOCK_BIT)
        ;
    while (!(CLOCK_PIN & 1 << CLOCK_BIT))
        ;
    value = data_get();
    for (;;) {
        next = data_get();
        if (!(CLOCK_PIN & 1 << CLOCK_BIT))
            break;
        value = next;
    }
#else
    _delay_us(ACCESS_US);
    value = data_get();
#endif
    return value;
}

/* The strobe comes anew for each address, so that a part that latches its enable takes each of them. */
static uint8_t read_at(uint16_t address)
{
    uint8_t value;
    address_put(address);
    _delay_us(SETTLE_US);
    strobe_begin();
    _delay_us(ACCESS_US);
    value = sample();
    strobe_end();
    return value;
}

static void dump(void)
{
    uint16_t address = first;
    for (;;) {
        uint8_t left = last - address < PER_RECORD - 1 ? last - address + 1 : PER_RECORD;
        uint8_t sum = 0;
        put(':');
        sum += put_byte(left);
        sum += put_byte(address >> 8);
        sum += put_byte(address & 0xFF);
        put_byte(0);
        while (left--) {
            sum += put_byte(read_at(address));
            if (address == last && !left)
                goto over;
            address++;
        }
        put_byte(-sum);
        put_text("\r\n");
        if (stopped())
            return;
        continue;
over:
        put_byte(-sum);
        put_text("\r\n");
        break;
    }
    put_text(":00000001FF\r\n");
}

/* The supply from the internal reference of 1.1 V, measured against it. The reference is 1.0 to 1.2 V from one chip to the
   next (data sheet, from memory): take changes of the supply from it, and measure its level with a meter. */
static void report_supply(void)
{
    uint32_t millivolts;
    uint16_t reading, unit;
    ADMUX = BANDGAP;
    ADCSRA = 1 << ADEN | 1 << ADPS2 | 1 << ADPS1 | 1 << ADPS0;
    _delay_ms(2);
    ADCSRA |= 1 << ADSC;
    while (ADCSRA & 1 << ADSC)
        ;
    reading = ADC;
    millivolts = reading ? 1100UL * 1024 / reading : 0;
    put_text("supply ");
    for (unit = 10000; unit; unit /= 10)
        put('0' + millivolts / unit % 10);
    put_text(" mV\r\n");
}

static char get(void)
{
    while (!(UCSR0A & 1 << RXC0))
        ;
    return UDR0;
}

static uint8_t hex(const char **text, uint16_t *value)
{
    uint8_t digits = 0;
    while (**text == ' ')
        ++*text;
    for (*value = 0; digits < 5; digits++, ++*text) {
        char c = **text | 0x20;
        if (c >= '0' && c <= '9')
            *value = *value << 4 | (c - '0');
        else if (c >= 'a' && c <= 'f')
            *value = *value << 4 | (c - 'a' + 10);
        else
            break;
    }
    return digits >= 1 && digits <= 4;
}

static void obey(const char *line)
{
    const char *rest = line + 1;
    uint16_t from, to;
    if (!line[0])
        return;
    if (line[0] == 'd' && hex(&rest, &from) && hex(&rest, &to) && !*rest && from <= to) {
        first = from;
        last = to;
        dump();
    } else if (line[0] == 'r' && !line[1])
        dump();
    else if (line[0] == 'v' && !line[1])
        report_supply();
    else
        put_text("?\r\n");
}

int main(void)
{
    static char line[16];
    uint8_t length = 0;
    pins_begin();
    serial_begin();
    put_text("\r\n>");
    for (;;) {
        char c = get();
        if (c == 3)
            length = 0;
        else if (c == '\n' || c == '\r') {
            if (c == '\r')
                continue;
            line[length < sizeof line ? length : 0] = 0;
            put_text("\r\n");
            obey(line);
            length = 0;
        } else {
            if (length < sizeof line)
                line[length++] = c;
            continue;
        }
        put_text("\r\n>");
    }
}
