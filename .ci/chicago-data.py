#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Writes the daily weather of Chicago as CSV, from the data folder of Debian's r-cran-modeldata.

An Rdata.rdb holds one R object after the other: four bytes with its unpacked length, the letter Z,
and a raw LZMA2 stream of R's serialization, format 3, in XDR. Chicago is the first. Only what
occurs in it is understood; everything else is an error.
"""
import csv
import datetime
import lzma
import struct
import sys

ROWS = 5698
FIRST, LAST = datetime.date(2001, 1, 22), datetime.date(2016, 8, 28)
COLUMNS = ["temp_min", "temp", "temp_max", "dew", "wind", "weather_cloud"]
CHECKED = {  # date: the day's minimum, °F
    "2007-04-03": 48.0, "2007-04-04": 28.9, "2007-04-05": 27.0, "2007-04-06": 24.1,
    "2007-04-07": 21.9, "2007-04-08": 28.0, "2012-04-11": 32.0,
}


class Reader:
    """R's serialization, as far as it occurs here."""

    def __init__(self, data):
        self.data, self.at, self.symbols = data, 0, []

    def take(self, form):
        value = struct.unpack_from(">" + form, self.data, self.at)
        self.at += struct.calcsize(">" + form)
        return value

    def int(self):
        return self.take("i")[0]

    def text(self):
        length = self.int()
        self.at += max(length, 0)
        return None if length < 0 else self.data[self.at - length:self.at].decode()

    def header(self):
        kind, version, _, _ = self.take("2sIII")
        if kind != b"X\n" or version != 3:
            raise ValueError("not R's serialization, format 3, in XDR")
        self.text()

    def pairs(self, flags):
        """A pairlist: attributes."""
        ret = {}
        while flags & 0xFF != 254:
            if flags & 0xFF != 2 or not flags & 0x400:
                raise ValueError("a pairlist was expected, seen %#x" % flags)
            name = self.item()
            ret[name] = self.item()
            flags = self.int()
        return ret

    def item(self):
        flags = self.int()
        kind = flags & 0xFF
        if kind == 1:
            self.symbols.append(self.item())
            return self.symbols[-1]
        if kind == 255:
            return self.symbols[(flags >> 8) - 1]
        if kind == 9:
            return self.text()
        if kind not in (10, 13, 14, 16, 19):
            raise ValueError("type %d is not known" % kind)
        n = self.int()
        if kind == 14:
            values = list(self.take("%dd" % n))
        elif kind in (10, 13):
            values = list(self.take("%di" % n))
        else:
            values = [self.item() for _ in range(n)]
        if not flags & 0x200:
            return values
        attributes = self.pairs(self.int())
        return dict(zip(attributes["names"], values)) if kind == 19 else values


def celsius(fahrenheit):
    return (fahrenheit - 32) / 1.8


def main():
    with open(sys.argv[1], "rb") as file:
        packed = file.read()
    length, method = struct.unpack_from(">Ic", packed)
    if method != b"Z":
        raise ValueError("the first object is not packed by LZMA")
    unpacker = lzma.LZMADecompressor(lzma.FORMAT_RAW,
                                     filters=[{"id": lzma.FILTER_LZMA2, "preset": 6}])
    reader = Reader(unpacker.decompress(packed[5:], length))
    reader.header()
    table = reader.item()
    epoch = datetime.date(1970, 1, 1)
    dates = [epoch + datetime.timedelta(days=int(day)) for day in table["date"]]
    if dates != [FIRST + datetime.timedelta(days=i) for i in range(ROWS)] or dates[-1] != LAST:
        raise ValueError("the days are not those that are known")
    for date, low in CHECKED.items():
        at = dates.index(datetime.date.fromisoformat(date))
        if abs(table["temp_min"][at] - low) > 0.05:
            raise ValueError("the minimum of %s is %s, not %s" % (date, table["temp_min"][at], low))

    with open(sys.argv[2], "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["date"] + COLUMNS)
        for i, date in enumerate(dates):
            row = {name: table[name][i] for name in COLUMNS}
            out.writerow([date.isoformat()] +
                         ["%.2f" % celsius(row[name]) for name in COLUMNS[:4]] +
                         ["%.2f" % (row["wind"] * 0.44704)] +
                         ["%.3f" % row[name] for name in COLUMNS[5:]])


main()
