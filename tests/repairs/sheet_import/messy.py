"""An invented shop's list of two years, with all that people do to such lists."""

import csv
import io
import random
from datetime import date, timedelta

HEADER = (
    *("Nr.", "Kunde", "Tel", "Datum", "abgeholt", "Gerät", "S/N", "Problem"),
    *("What we found", "What we did", "Status", "Zeit", "bezahlt", "Parts"),
    *("Back again?", "Shelf", "Remarks"),
)
PAIRS = (
    (
        ("charging socket loose", "Charging socket loose!", "chargin socket loose"),
        ("replaced socket", "socket replaced", "Replaced  socket."),
    ),
    (
        ("screen cracked", "cracked screen", "Screen craked"),
        ("new screen fitted", "fitted new screen", "New screen fited"),
    ),
    (
        ("battery worn out", "Battery worn-out", "battery wornout"),
        ("battery changed", "changed battery", "Battery chnaged"),
    ),
    (
        ("water on mainboard", "Water on main board", "water on mainbord"),
        ("mainboard cleaned", "cleaned mainboard", "Mainboard cleand"),
    ),
)
DEVICES = ("Slate 14", "Slate 15", "Marrow 12", "Pico 3", "Heron X")
FIRST = "Ada Ben Cleo Dora Emil Finn Gwen Hugo Iris Jörg Käthe Luis".split()
LAST = "Fenwick Tarn Müller Oakes Pell Quist Rook Sable Thorne Uhl".split()
GERMAN = "Jan Feb März Apr Mai Juni Juli Aug Sept Okt Nov Dez".split()


def rows(count=400, seed=7):
    """Return the lines of the list as cells, and the lines that nobody could read."""
    draw = random.Random(seed)
    people = [f"{first} {last}" for first in FIRST for last in LAST]
    draw.shuffle(people)
    unreadable = {}
    found = []
    for number in range(1, count + 1):
        person = people[draw.randrange(len(people))]
        day = date(2022, 11, 7) + timedelta(days=int(number * 1.8))
        out = day + timedelta(days=draw.randrange(1, 9))
        fault, fix = draw.choice(PAIRS)
        row = {
            "Nr.": str(1000 + number),
            "Kunde": person,
            "Tel": f"01632 96{people.index(person):04}",
            "Datum": written(day, draw),
            "abgeholt": written(out, draw),
            "Gerät": DEVICES[people.index(person) % len(DEVICES)],
            "S/N": f"NW-{people.index(person):05}",
            "Problem": draw.choice(("won’t start", "goes off", "no picture")),
            "What we found": draw.choice(fault),
            "What we did": draw.choice(fix),
            "Status": draw.choice(("OK", "done", "fixed", "erledigt")),
            "Zeit": draw.choice(("1h30", "90 min", "1:30", "45", "1,5 Std")),
            "bezahlt": draw.choice(("€ 45", "45,00", "340,-", "free", "1.234,50")),
            "Parts": draw.choice(("12,30", "", "€ 7,5")),
            "Back again?": draw.choice(("no", "", "", "", "nein")),
            "Shelf": draw.choice(("A1", "B2", "")),
            "Remarks": draw.choice(("", "", "rang twice")),
        }
        spoil(number, row, unreadable, draw)
        found.append([row[name] for name in HEADER])
    return found, unreadable


def spoil(number, row, unreadable, draw):
    """Do to some rows what people do."""
    if number % 20 == 5:
        row["What we found"] = row["What we did"] = ""
    if number % 23 == 3:
        row["Status"] = draw.choice(("NFF", "BER", "too expensive"))
        row["What we did"] = ""
    if number % 29 == 4:
        row["abgeholt"] = ""
    if number % 31 == 8:
        row["Back again?"] = "YES - again dead"
    if number % 37 == 6:
        row["bezahlt"] = "see invoice"
    if number % 41 == 7:
        row["Nr."] = ""
    if number % 43 == 9:
        row["Kunde"] = ""
    if number % 90 == 50:
        row["Datum"] = "6.11."
        unreadable[number] = "has no year"
    if number % 170 == 100:
        row["abgeholt"] = "3.1.2019"
        unreadable[number] = "but booked in on"


def written(day, draw):
    """Return a day as somebody wrote it."""
    return draw.choice(
        (
            f"{day:%d.%m.%Y}",
            f"{day:%d.%m.%y}",
            f"{day:%d/%m/%Y}",
            f"{day.day} {day:%b %Y}",
            f"{day.day}. {GERMAN[day.month - 1]} {day.year}",
            str((day - date(1899, 12, 30)).days),
            f"{day:%Y-%m-%d}",
        )
    )


def text(lines, separator=";"):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(["Repairs of the shop"])
    writer.writerow([])
    writer.writerow(HEADER)
    writer.writerows(lines)
    return out.getvalue()
