"""Small RGB colour profiles (ICC.1:2010, matrix and tone curve), written from the published primaries."""

import struct

import numpy as np

D65 = (0.3127, 0.3290)
D50_XYZ = np.array([0.9642, 1.0, 0.8249])
# Display P3: SMPTE EG 432-1 primaries with D65 and the sRGB curve. Adobe RGB (1998): its specification, section 4.3.
DISPLAY_P3 = {"primaries": [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)], "curve": "srgb"}
ADOBE_RGB = {"primaries": [(0.64, 0.33), (0.21, 0.71), (0.15, 0.06)], "curve": 563 / 256}
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def xyz(x, y):
    return np.array([x / y, 1.0, (1 - x - y) / y])


def colorants(primaries):
    """XYZ of the three primaries, adapted from D65 to the D50 of the profile connection space."""
    columns = np.array([xyz(*p) for p in primaries]).T
    scaled = columns * np.linalg.solve(columns, xyz(*D65))
    gain = (BRADFORD @ D50_XYZ) / (BRADFORD @ xyz(*D65))
    return np.linalg.inv(BRADFORD) @ np.diag(gain) @ BRADFORD @ scaled


def fixed(*values):
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def curve(kind):
    if kind == "srgb":  # IEC 61966-2-1 as a parametric curve of type 3
        return b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + fixed(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(kind * 256)) + b"\0\0"


def text(words):
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", 2 * len(words), 28) + words.encode("utf-16-be")


def profile(space, name):
    m = colorants(space["primaries"])
    tags = {b"desc": text(name), b"cprt": text("no copyright"), b"wtpt": b"XYZ \0\0\0\0" + fixed(*D50_XYZ)}
    for i, channel in enumerate((b"r", b"g", b"b")):
        tags[channel + b"XYZ"] = b"XYZ \0\0\0\0" + fixed(*m[:, i])
        tags[channel + b"TRC"] = curve(space["curve"])
    table, data, at = struct.pack(">I", len(tags)), b"", 128 + 4 + 12 * len(tags)
    for key, body in tags.items():
        table += key + struct.pack(">II", at + len(data), len(body))
        data += body + b"\0" * (-len(body) % 4)
    size = at + len(data)
    head = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s4sI", 2026, 1, 1, 0, 0, 0, b"acsp", b"\0" * 4, 0) + b"\0" * 8 + b"\0" * 8 + b"\0" * 4
    head += fixed(*D50_XYZ)
    return head.ljust(128, b"\0") + table + data
