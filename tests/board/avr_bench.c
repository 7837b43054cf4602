/* A bench for the reader's firmware in simavr: a ROM on its pins, a line to type at, and an eye on its data pins.
   usage: avr_bench MCU ELF IMAGE MASK MATCH COMMANDS [SUPPLY [latch]]    the supply in mV, 5000 where none is given;
   a part that latches takes the address when the strobe falls, and minds no other
   The ROM answers where (address & MASK) == MATCH while the read strobe is low; else the bus floats at A5.
   Prints what the firmware sends; ends with 3 if a data pin was ever an output or pulled up, 4 if it never answers. */

#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static uint8_t image[65536];
static size_t size;
static uint16_t shifted, latched;
static int prompts;
static char last;

static void said(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    putchar(value);
    prompts += value == '>' && last == '\n';
    last = value;
}

static void shift(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    shifted = shifted << 8 | (value & 0xFF);
}

int main(int argc, char **argv)
{
    elf_firmware_t firmware = {{0}};
    avr_irq_t *pin[8], *input;
    uint16_t mask, match, address, taken = 0;
    uint32_t flags = 0;
    int big, prompts_seen = 0, was = -1, strobed = 0;
    const char *typed;
    if (argc < 7 || elf_read_firmware(argv[2], &firmware))
        return 2;
    FILE *file = fopen(argv[3], "rb");
    size = fread(image, 1, sizeof image, file);
    fclose(file);
    mask = strtoul(argv[4], 0, 16);
    match = strtoul(argv[5], 0, 16);
    typed = argv[6];
    big = !strcmp(argv[1], "atmega2560");
    avr_t *avr = avr_make_mcu_by_name(argv[1]);
    avr_init(avr);
    avr->frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr->frequency = 16000000;
    avr->vcc = avr->avcc = avr->aref = argc > 7 ? atoi(argv[7]) : 5000;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), said, 0);
    input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    for (int i = 0; i < 8; i++)
        pin[i] = big ? avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('L'), i)
                     : avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(i < 6 ? 'C' : 'D'), i < 6 ? i : i - 4);
    if (!big)
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT), shift, 0);
    uint8_t *data = avr->data;
    avr_cycle_count_t next = 0;
    while (avr->cycle < 4000000000ULL) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed)
            return 2;
        if (big ? data[0x10A] || data[0x10B] : (data[0x27] | data[0x28]) & 0x3F || (data[0x2A] | data[0x2B]) & 0x0C)
            return 3;
        if (!big && data[0x25] & 4)
            latched = shifted;
        address = big ? data[0x22] | data[0x28] << 8 : latched;
        int strobe = big ? !(data[0x34] & 2) : !(data[0x25] & 1);
        int clock = big ? 0x20 : 0x02;
        int phase = !(data[0x24] & clock) || data[0x23] & clock; /* a part with a clock answers in its high half */
        if (argc > 8) {
            if (strobe && !strobed)
                taken = address;
            strobed = strobe;
            address = taken;
        }
        int bus = strobe && phase && (address & mask) == match ? image[address % size] : 0xA5;
        if (bus != was)
            for (int i = 0; i < 8; i++)
                avr_raise_irq(pin[i], bus >> i & 1);
        was = bus;
        if (*typed && prompts > prompts_seen && avr->cycle > next) {
            avr_raise_irq(input, *typed);
            next = avr->cycle + 3000;
            prompts_seen += *typed == '\n';
            typed++;
        }
        if (!*typed && prompts > prompts_seen) {
            fflush(stdout);
            return 0;
        }
    }
    return 4;
}
