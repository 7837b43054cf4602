"""Names of the registers that a CPU has at addresses of its own.

Sources: MCS-51 programmer's guide (1985), special function registers and their bits; MC6801 reference manual (1980),
internal register area. From memory.
"""

from __future__ import annotations

from functools import cache

from romassay.cpus.model import Kind, Name

_SFR = (
    "80 P0 81 SP 82 DPL 83 DPH 87 PCON 88 TCON 89 TMOD 8A TL0 8B TL1 8C TH0 8D TH1 90 P1 98 SCON 99 SBUF A0 P2 A8 IE \
B0 P3 B8 IP C8 T2CON CA RCAP2L CB RCAP2H CC TL2 CD TH2 D0 PSW E0 ACC F0 B"
)
_SFR_BITS = (
    "88 IT0 89 IE0 8A IT1 8B IE1 8C TR0 8D TF0 8E TR1 8F TF1 98 RI 99 TI 9A RB8 9B TB8 9C REN 9D SM2 9E SM1 9F SM0 \
A8 EX0 A9 ET0 AA EX1 AB ET1 AC ES AF EA B8 PX0 B9 PT0 BA PX1 BB PT1 BC PS D0 P D2 OV D3 RS0 D4 RS1 D5 F0 D6 AC D7 CY"
)
_PORTS = {0x80: "P0", 0x90: "P1", 0xA0: "P2", 0xB0: "P3", 0xE0: "ACC", 0xF0: "B"}
_6801 = (
    "00 P1DDR 01 P2DDR 02 PORT1 03 PORT2 04 P3DDR 05 P4DDR 06 PORT3 07 PORT4 08 TCSR 09 COUNTER 0A COUNTER+1 0B OUTCMP \
0C OUTCMP+1 0D INCAP 0E INCAP+1 0F P3CSR 10 RMCR 11 TRCSR 12 RDR 13 TDR 14 RAMCR"
)


def _pairs(text: str) -> dict[int, str]:
    words = text.split()
    return {int(code, 16): name for code, name in zip(words[::2], words[1::2], strict=True)}


@cache
def register_names(cpu: Name) -> dict[tuple[Kind, int], str]:
    """Return the name by kind of operand and number, for what a CPU has inside."""
    if cpu == "8051":
        bits = {base + n: f"{name}.{n}" for base, name in _PORTS.items() for n in range(8)} | _pairs(_SFR_BITS)
        found: dict[tuple[Kind, int], str] = {("direct", at): name for at, name in _pairs(_SFR).items()}
        return found | {("bit", at): name for at, name in bits.items()}
    if cpu == "6801":
        return {("direct", at): name for at, name in _pairs(_6801).items()}
    return {}
