"""Signals in frames against the Python package cantools: random signals in both byte orders, signed and unsigned, encoded and decoded
through a DBC text that is written here. Checksums against a bit-serial division written here and the check values of the published
catalogue of parametrised CRC algorithms.
"""

import random

import cantools

from outside import Check, run

check = Check("signals and checksums in frames", "cantools and the catalogue of CRC algorithms")
rng = random.Random(20260101)


def bits_of(start, length, big):
    """The numbers of the bits by the rule of DBC files, to know which signals fit."""
    if not big:
        return list(range(start, start + length))
    bits, bit = [], start
    for _ in range(length):
        bits.append(bit)
        bit = bit + 15 if bit % 8 == 0 else bit - 1
    return bits


def ask(lines):
    return run(name="examples/frame_lines", text_in="\n".join(lines) + "\n").splitlines()


cases = []
while len(cases) < 400:
    size = rng.choice([1, 2, 4, 8, 8, 8])
    start, length, big, signed = rng.randrange(64), rng.randrange(1, 53), rng.random() < 0.5, rng.random() < 0.5
    if max(bits_of(start, length, big)) >= 8 * size or (signed and length == 1):
        continue
    low, high = (-(1 << length - 1), (1 << length - 1) - 1) if signed else (0, (1 << length) - 1)
    cases.append((size, start, length, big, signed, rng.choice([low, high, rng.randint(low, high)])))

words = [f"{start} {length} {'big' if big else 'little'} {'signed' if signed else 'unsigned'}" for _, start, length, big, signed, _ in cases]
packed = ask([f"pack {case[0]} {word} {case[5]}" for case, word in zip(cases, words)])
noises = [bytes(rng.randrange(256) for _ in range(case[0])) for case in cases]
unpacked = ask([f"unpack {noise.hex()} {word}" for noise, word in zip(noises, words)])
for (size, start, length, big, signed, raw), data, noise, number in zip(cases, packed, noises, unpacked):
    dbc = f'VERSION ""\nBU_: A\nBO_ 291 F: {size} A\n SG_ S : {start}|{length}@{0 if big else 1}{"-" if signed else "+"} (1,0) [0|0] "" A\n'
    message = cantools.database.load_string(dbc, "dbc").get_message_by_name("F")
    what = f"{start}|{length} {'big' if big else 'little'} {'signed' if signed else 'unsigned'} in {size} bytes"
    check.same(f"pack {raw} at {what}", data, message.encode({"S": raw}, strict=False).hex())
    check.same(f"unpack {noise.hex()} at {what}", int(number), message.decode(noise, decode_choices=False)["S"])
    # A planted error: one bit elsewhere is another frame.
    wrong = bytearray.fromhex(data)
    wrong[bits_of(start, length, big)[0] // 8] ^= 1 << bits_of(start, length, big)[0] % 8
    check.holds(f"a planted bit at {what}", message.decode(bytes(wrong), decode_choices=False)["S"] != raw, "is not noticed")


def divided(data, polynomial, first, last):
    """The remainder of a division bit by bit, in another way than with a shifted register of eight bits."""
    number = int.from_bytes(data, "big") << 8 ^ first << 8 * len(data)
    for bit in range(8 * len(data) + 7, 7, -1):
        if number >> bit & 1:
            number ^= (0x100 | polynomial) << bit - 8
    return number ^ last


KINDS = {"crc8_sae_j1850": (0x1D, 0xFF, 0xFF, 0x4B), "crc8_autosar": (0x2F, 0xFF, 0xFF, 0xDF), "crc8_smbus": (0x07, 0x00, 0x00, 0xF4)}
for word, (polynomial, first, last, value) in KINDS.items():
    texts = [b"123456789"] + [bytes(rng.randrange(256) for _ in range(rng.randrange(1, 10))) for _ in range(40)]
    answers = ask([f"checksum {word} {text.hex()}" for text in texts])
    check.same(f"check value of {word}", int(answers[0], 16), value)
    for text, answer in zip(texts, answers):
        check.same(f"{word} of {text.hex()}", int(answer, 16), divided(text, polynomial, first, last))
check.finish(at_least=1300)
