"""The columns of a shop's own list: where they begin, and what each of them means."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

import pandas as pd
from rapidfuzz import fuzz, process

from repairs.history.cells import EMAIL
from repairs.sheet_import.sheet_file import Cell, SheetRow, SheetTable
from repairs.sheet_import.written_values import (
    MONTHS,
    NUMBERS,
    is_serial,
    outcome_of,
    plain,
)

MAX_TITLE_ROWS = 30
SAMPLE = 200
"""Rows whose contents suggest what a column means."""
MIN_SIMILARITY = 84
"""Of a header to a known name of a field, 0 to 100."""


@dataclass(frozen=True)
class SheetField:
    """A field of a past job, and the headers that shops give it."""

    label: str
    synonyms: tuple[str, ...]


def _field(label: str, synonyms: str) -> SheetField:
    return SheetField(label, tuple(plain(one) for one in [label, *synonyms.split(",")]))


FIELDS: dict[str, SheetField] = {
    "job": _field(
        "job number",
        "job,job no,no,nr,number,ref,reference,job id,id,order no,order number,repair"
        " no,auftrag,auftragsnummer,auftragsnr,nummer,lfd nr,vorgang,beleg",
    ),
    "booked_in": _field(
        "booked in",
        "date in,received,received on,in,date,arrived,checked in,dropped off,intake,"
        "date received,start,annahme,angenommen,angenommen am,eingang,eingangsdatum,"
        "datum,annahmedatum,eingegangen",
    ),
    "handed_over": _field(
        "handed over",
        "date out,out,collected,picked up,returned,done,completed,finished,closed,"
        "date collected,end,delivered,abholung,abgeholt,abgeholt am,ausgang,ausgabe,"
        "ausgangsdatum,fertig,fertig am,ubergabe,zuruck",
    ),
    "customer": _field(
        "customer",
        "customer name,name,client,owner,who,contact,kunde,kundenname,kundin,"
        "auftraggeber",
    ),
    "phone": _field(
        "phone",
        "telephone,tel,mobile,phone number,cell,contact number,telefon,handy,"
        "telefonnummer,rufnummer,mobil,tel nr",
    ),
    "email": _field("email", "e-mail,mail,email address,e-mail-adresse,mailadresse"),
    "kind": _field(
        "kind of device",
        "kind,type,device type,category,product type,art,gerateart,geratetyp,typ,"
        "kategorie",
    ),
    "maker": _field("maker", "make,brand,manufacturer,marke,hersteller,fabrikat"),
    "model": _field(
        "model",
        "device,item,product,unit,equipment,modell,gerat,geraet,artikel,bezeichnung",
    ),
    "serial": _field(
        "serial number",
        "serial,sn,s/n,serial no,imei,seriennummer,seriennr,snr,geratenummer",
    ),
    "complaint": _field(
        "complaint",
        "problem reported,customer says,symptom,issue,problem,reported fault,complaint"
        " of customer,what is wrong,beanstandung,kundenangabe,problem laut kunde,"
        "fehlerbeschreibung,reklamation,beschwerde",
    ),
    "fault": _field(
        "fault found",
        "fault,diagnosis,cause,defect,found,finding,what we found,fehler,diagnose,"
        "ursache,defekt,befund,fehlerursache",
    ),
    "fix": _field(
        "work done",
        "fix,repair,solution,action,work,what we did,repair done,resolution,remedy,"
        "reparatur,arbeit,massnahme,losung,durchgefuhrte arbeiten,behebung",
    ),
    "outcome": _field(
        "outcome",
        "result,status,state,fixed,repaired?,success,ergebnis,stand,repariert,erfolg",
    ),
    "minutes": _field(
        "minutes",
        "time,labour,labor,duration,time spent,hours,work time,mins,zeit,dauer,"
        "arbeitszeit,minuten,stunden,std,aufwand",
    ),
    "charged": _field(
        "charged",
        "price,paid,amount,total,cost to customer,invoice,bill,charge,revenue,preis,"
        "bezahlt,betrag,rechnung,summe,kosten,berechnet,gesamt",
    ),
    "parts_cost": _field(
        "parts cost",
        "parts,parts price,material,cost of parts,spares,teile,teilekosten,ersatzteile,"
        "materialkosten,einkauf,ek",
    ),
    "back_again": _field(
        "back again?",
        "back again,back,came back,comeback,return,returned again,again,repeat,warranty"
        " return,rma,wieder da,reklamiert,nochmal,erneut,rucklaufer,kam wieder",
    ),
    "notes": _field(
        "notes",
        "note,comment,comments,remarks,remark,info,memo,notiz,notizen,bemerkung,"
        "bemerkungen,anmerkung,kommentar",
    ),
}
REQUIRED = ("booked_in", "customer")
"""Without these a job cannot be imported; a model or its kind may be missing."""


@dataclass(frozen=True)
class SheetColumns:
    """The header of a table, and the rows below it by header."""

    header_line: int
    names: list[str]
    frame: pd.DataFrame
    """A column for each name and a row for each row, indexed by line."""

    @property
    def signature(self) -> str:
        """Return what tells headers of one list from those of another."""
        text = "\n".join(sorted(map(plain, self.names)))
        return sha256(text.encode()).hexdigest()


def split_header(table: SheetTable, *, header_line: int = 0) -> SheetColumns:
    """Return the header and the rows below it; the header is found if not given."""
    lines = [row.line for row in table.rows]
    start = (
        lines.index(header_line) if header_line in lines else find_header(table.rows)
    )
    header, body = table.rows[start], table.rows[start + 1 :]
    width = max((len(row.cells) for row in table.rows[start:]), default=0)
    names = unique_names([*header.cells, *[""] * (width - len(header.cells))])
    frame = pd.DataFrame(
        [[*row.cells, *[""] * (width - len(row.cells))] for row in body],
        columns=pd.Index(names, dtype=object),
        index=pd.Index([row.line for row in body], dtype=int),
        dtype=object,
    )
    # Columns without a header and without contents are only formatted.
    used = [
        name
        for number, name in enumerate(names)
        if (number < len(header.cells) and header.cells[number] != "")
        or bool((frame[name] != "").any())
    ]
    return SheetColumns(header.line, used, frame[used])


def find_header(rows: Sequence[SheetRow]) -> int:
    """Return the position of the header: the row with most names of fields.

    Title rows above it are passed over.
    """
    known = {name for one in FIELDS.values() for name in one.synonyms}
    best, best_count = 0, 0
    for number, row in enumerate(rows[:MAX_TITLE_ROWS]):
        count = sum(plain(cell) in known for cell in row.cells if cell != "")
        if count > best_count:
            best, best_count = number, count
    if best_count >= 2:
        return best
    texts = [
        sum(isinstance(cell, str) and bool(cell) for cell in row.cells)
        for row in rows[:MAX_TITLE_ROWS]
    ]
    wide = [number for number, count in enumerate(texts) if count >= 2]
    return wide[0] if wide else 0


def unique_names(cells: Iterable[Cell]) -> list[str]:
    """Return the headers as text, each once; a missing one is “column 3”."""
    names: list[str] = []
    for number, cell in enumerate(cells, start=1):
        name = " ".join(str(cell).split())[:80] or f"column {number}"
        again, bare = 2, name
        while name in names:
            name = f"{bare} ({again})"
            again += 1
        names.append(name)
    return names


# --- suggestions ----------------------------------------------------------------------


def suggest(columns: SheetColumns) -> dict[str, str]:
    """Return the likely field of each column, by header; no field twice."""
    found = _by_name(columns.names)
    return found | _by_contents(columns, found)


def _by_name(names: Sequence[str]) -> dict[str, str]:
    owners = {text: name for name, one in FIELDS.items() for text in one.synonyms}
    scored = []
    for position, header in enumerate(names):
        text = re.sub(r"\b(?:eur|gbp|usd|chf|min|st)\b", "", plain(header)).strip()
        if not text:
            text = plain(header)
        for synonym, score, _ in process.extract(
            text,
            list(owners),
            scorer=fuzz.token_sort_ratio,
            limit=None,
            score_cutoff=MIN_SIMILARITY,
        ):
            scored.append((-score, position, owners[synonym], header))
    found: dict[str, str] = {}
    for _, _, name, header in sorted(scored):
        if header not in found and name not in found.values():
            found[header] = name
    return found


def _by_contents(columns: SheetColumns, found: Mapping[str, str]) -> dict[str, str]:
    """Return fields of further columns, told by what most of their cells hold."""
    more: dict[str, str] = {}
    for header in columns.names:
        if header in found:
            continue
        cells = [cell for cell in columns.frame[header].head(SAMPLE) if cell != ""]
        for name, looks in LOOKS:
            taken = name in found.values() or name in more.values()
            if not taken and cells and sum(map(looks, cells)) > 0.7 * len(cells):
                more[header] = name
                break
    return more


def _is_email(cell: Cell) -> bool:
    return bool(EMAIL.fullmatch(str(cell)))


def _is_date(cell: Cell) -> bool:
    if isinstance(cell, date) or (isinstance(cell, int) and is_serial(cell)):
        return True
    words = plain(cell).split()
    is_named = len(words) >= 2 and any(word in MONTHS for word in words)
    return isinstance(cell, str) and bool(NUMBERS.match(cell) or is_named)


def _is_phone(cell: Cell) -> bool:
    text = str(cell)
    digits = sum(map(str.isdigit, text))
    return digits >= 7 and not re.search(r"[^\d +()/.-]", text)


def _is_outcome(cell: Cell) -> bool:
    return bool(outcome_of(cell))


LOOKS: tuple[tuple[str, Callable[[Cell], bool]], ...] = (
    ("email", _is_email),
    ("booked_in", _is_date),
    ("handed_over", _is_date),
    ("phone", _is_phone),
    ("outcome", _is_outcome),
)
