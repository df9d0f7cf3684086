"""Reads a layout.json with Python's json and prints each instance's numbers as the bits that Python has read:
[[id, pass, piece, [bits of position x, y, z as hex of a big-endian double], [bits of rotation, scale, diameter]], ...]."""

import json
import struct
import sys


def bits(number):
    return struct.pack(">d", number).hex()


def short_bits(number):
    return struct.pack(">f", number).hex()


with open(sys.argv[1], encoding="utf-8") as file:
    layout = json.load(file)
found = [
    [
        i["id"],
        i["pass"],
        i["piece"],
        [bits(v) for v in i["position"]],
        [short_bits(v) for v in (*i["rotation"], i["scale"], i["diameter"])],
    ]
    for i in layout["instances"]
]
# In one piece: json.dump would write number by number.
sys.stdout.write(json.dumps(found))
