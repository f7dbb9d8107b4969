"""Reads what the report under test wrote, and the store it wrote it from, with parsers that share nothing
with the program: Python's html.parser, csv and sqlite3. Prints JSON.

    read.py page FILE              tables by their caption, tags, addresses, what is wrong with the nesting
    read.py csv FILE               the records, each a list of fields
    read.py store FILE UNIT ZONE   sums, runs and samples of a unit
"""

import csv
import datetime
import html.parser
import json
import sqlite3
import sys
import zoneinfo

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
# Attributes through which a page may fetch or run something.
FETCHING = {"src", "srcset", "href", "xlink:href", "action", "formaction", "data", "poster", "background"}


class Page(html.parser.HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.wrong = [], []
        self.tags, self.addresses, self.handlers, self.ids = set(), [], [], []
        self.tables, self.caption, self.row, self.text = {}, None, None, []
        self.styles = []

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        for name, value in attributes:
            if name in FETCHING:
                self.addresses.append(value)
            if name.startswith("on"):
                self.handlers.append(name)
            if name == "id":
                self.ids.append(value)
        if tag not in VOID:
            self.open.append(tag)
        if tag == "tr":
            self.row = []
        if tag in ("td", "th") and self.row is not None:
            self.row.append({"text": "", "value": None})
        if tag == "data" and self.row:
            self.row[-1]["value"] = dict(attributes)["value"]
        if tag == "caption":
            self.caption = ""

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.wrong.append(f"</{tag}> within {self.open[-3:]} at {self.getpos()}")
            return
        self.open.pop()
        if tag == "caption":
            self.tables[self.caption] = []
        if tag == "tr":
            self.tables[self.caption].append(self.row)
            self.row = None

    def handle_data(self, text):
        self.text.append(text)
        if self.open and self.open[-1] == "style":
            self.styles.append(text)
        if self.open and "caption" in self.open:
            self.caption += text
        elif self.row:
            self.row[-1]["text"] += text


def page(path):
    reader = Page()
    with open(path, encoding="utf-8") as file:
        reader.feed(file.read())
    reader.close()
    return {
        "tables": reader.tables,
        "tags": sorted(reader.tags),
        "addresses": reader.addresses,
        "handlers": reader.handlers,
        "ids": reader.ids,
        "wrong": reader.wrong + [f"<{tag}> is never closed" for tag in reader.open],
        "text": " ".join("".join(reader.text).split()),
        "style": "".join(reader.styles),
    }


def records(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


def shares(start, end, zone):
    """The owner's days that a run lies in, and how much of it lies in each."""
    at = start
    while True:
        day = datetime.datetime.fromtimestamp(at, zone).date()
        tomorrow = day + datetime.timedelta(days=1)
        midnight = datetime.datetime.combine(tomorrow, datetime.time(), zone).timestamp()
        until = min(midnight, end)
        yield day.isoformat(), (until - at) / (end - start) if end > start else 1.0
        if until >= end:
            return
        at = until


def store(path, unit, zone):
    """Samples and sums, and by the day of the owner what the runs made."""
    zone = zoneinfo.ZoneInfo(zone)
    base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    runs = [
        json.loads(document)
        for (document,) in base.execute("SELECT document FROM run WHERE unit = ? ORDER BY number", [unit])
    ]
    # Each as fine as it is still kept: a mean gives way to what it was made of.
    samples = [
        {"start": start, "span": span, "seconds": seconds, **json.loads(document)}
        for start, span, seconds, document in base.execute(
            "SELECT start, span, seconds, document FROM sample WHERE unit = ? ORDER BY start, span", [unit]
        )
    ]
    hours = {sample["start"] // 3_600_000 for sample in samples if sample["span"] == 0}
    days = {sample["start"] // 86_400_000 for sample in samples if sample["span"] == 3_600_000}
    finest = [
        sample
        for sample in samples
        if sample["span"] == 0
        or (sample["span"] == 3_600_000 and sample["start"] // 3_600_000 not in hours)
        or (sample["span"] == 86_400_000 and sample["start"] // 86_400_000 not in days)
    ]
    by_day = {}
    for run in runs:
        for day, share in shares(run["started"] / 1000, run["ended"] / 1000, zone):
            litres = by_day.setdefault(day, {})
            for name, amount in run["volumes"].items():
                litres[name] = litres.get(name, 0.0) + amount * share
    sums = {}
    for name in sorted({name for sample in samples for name in sample["last"]}):
        values = [sample["last"][name] for sample in finest if name in sample["last"]]
        sums[name] = {"first": values[0], "last": max(values)}
    (totals,) = base.execute(
        "SELECT state FROM unit_part WHERE unit = ? AND part = 'totals'", [unit]
    ).fetchone()
    return {
        "runs": runs,
        "samples": finest,
        "spans": sorted({sample["span"] for sample in finest}),
        "by_day": by_day,
        "sums": sums,
        "totals": json.loads(totals),
    }


what, *arguments = sys.argv[1:]
json.dump({"page": page, "csv": records, "store": store}[what](*arguments), sys.stdout)
