"""A history of any length, written straight into the tables of the real records.

The rows go in by the driver's own bulk road, since through the models a million would
take an hour; every column gets what the model would have given it.
"""

from datetime import date, timedelta
from itertools import islice
from uuid import UUID

import numpy as np
from django.db import connection

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.customers.names import lookalike_serial
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Comeback, Job, Repair, ReturnAssessment

AS_OF = date(2026, 6, 30)
DAYS = 540  # over which the first repairs were handed over
RETURNING = 0.1  # share of all visits that are returns
SAME_FAULT = 0.85  # share of the returns decided to be one
REVISED = 0.03  # share of the decisions that a later one took the place of
SOLD_ON = 0.02  # share of the devices no longer watched from some day on
BATCH = 20_000
CACHE = 500_000  # kB, while rows are written
COMPLAINT = "Goes off by itself when the lid is moved, since about two weeks ago."


ONE = ({"name": "Ada Fenwick"},)


def fill(rows: int, *, pairs: int, seed: int = 4, customers=ONE) -> None:
    """So many repairs of so many pairs: a visit each, some of them returns.

    The devices are shared out among the customers.
    """
    rng = np.random.default_rng(seed)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            # Indexes are filled in no order: else pages are written again and again.
            cursor.execute(f"PRAGMA cache_size = -{CACHE}")
    faults = max(1, pairs // 5)
    bulk(Fault, [{"code": f"F-{n:04}", "name": "invented"} for n in range(faults)])
    bulk(
        Fix,
        [
            {"code": f"X-{n:04}", "name": "invented", "fix_type": "lasting"}
            for n in range(pairs // faults)
        ],
    )
    bulk(DeviceModel, [{"kind": "laptop", "maker": "Norwind", "model": "Slate 14"}])
    bulk(Customer, customers)
    first = rows - int(rows * RETURNING)
    visits = _visits(rng, first=first, rows=rows)
    bulk(Device, _devices(rng, first, owners=len(customers)))
    bulk(Job, _jobs(visits, owners=len(customers)))
    bulk(Repair, _repairs(rng, visits, faults=faults, fixes=pairs // faults))
    bulk(ReturnAssessment, _decisions(rng, visits, first=first))
    Comeback.objects.write_all()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _visits(rng, *, first, rows):
    """Of each visit its device, the visit it came back from (or itself), its days."""
    handed = np.sort(AS_OF.toordinal() - rng.integers(0, DAYS, first))
    again = rng.choice(first, rows - first, replace=False)
    booked = handed[again] + rng.integers(1, 120, rows - first)
    order = np.argsort(booked, kind="stable")
    again, booked = again[order], booked[order]
    return {
        "device": np.concatenate([np.arange(first), again]),
        "booked": np.concatenate([handed - 3, booked]),
        "handed": np.concatenate([handed, booked + 2]),
    }


def _devices(rng, count, *, owners):
    ends = rng.random(count) < SOLD_ON
    for n in range(count):
        day = AS_OF - timedelta(days=int(rng.integers(1, DAYS))) if ends[n] else None
        yield {
            "serial": f"SN{n:07}",
            "model_id": 1,
            "serial_normalized": f"SN{n:07}",
            "serial_lookalike": lookalike_serial(f"SN{n:07}"),
            "maker_key": "norwind",
            "owner_id": n % owners + 1,
            "out_of_use_on": day,
        }


def _jobs(visits, *, owners):
    columns = (visits["device"], visits["booked"], visits["handed"])
    for n, (device, booked, handed) in enumerate(zip(*columns, strict=True)):
        # A visit of days to come is left out of no table: the day asked for hides it.
        yield {
            "number": f"H-{n:07}",
            "key": UUID(int=n + 1),
            "device_id": int(device) + 1,
            "customer_id": int(device) % owners + 1,
            "state": states.HANDED_OVER,
            "outcome": states.FIXED,
            "complaint": COMPLAINT,
            "booked_in_on": date.fromordinal(int(booked)),
            "handed_over_on": date.fromordinal(int(handed)),
        }


def _repairs(rng, visits, *, faults, fixes):
    """A return gets the same pair of fault and fix again."""
    devices = visits["device"].max() + 1
    pair = rng.integers(0, faults * fixes, devices)[visits["device"]]
    is_stopgap = rng.random(faults * fixes) < 0.2
    differs = rng.random(len(pair)) < 0.05
    for n in range(len(pair)):
        said = is_stopgap[pair[n]] ^ differs[n]
        yield {
            "job_id": n + 1,
            "fault_id": int(pair[n]) // fixes + 1,
            "fix_id": int(pair[n]) % fixes + 1,
            "outcome": states.FIXED,
            "fix_type": "stopgap" if said else "lasting",
            "minutes_from_history": 45,
            "cost": 40 + n % 50,
            "handed_over_on": date.fromordinal(int(visits["handed"][n])),
        }


def _decisions(rng, visits, *, first):
    again = np.arange(first, len(visits["device"]))
    same, other = states.SAME_FAULT, states.NEW_FAULT
    what = np.where(rng.random(len(again)) < SAME_FAULT, same, other)
    revised = np.flatnonzero(rng.random(len(again)) < REVISED)
    for n in [*range(len(again)), *revised]:
        visit = int(again[n])
        yield {
            "job_id": visit + 1,
            "earlier_id": int(visits["device"][visit]) + 1,
            "assessment": str(what[n]),
            "assessed_on": date.fromordinal(int(visits["booked"][visit])),
        }
        what[n] = other if what[n] == same else same


def bulk(kind, rows, *, first: int = 1) -> None:
    """Rows of one kind, each a dict of what differs from a fresh record.

    `first` is the key of the first row.
    """
    fields = kind._meta.concrete_fields
    fresh = kind()

    def value(field, given):
        return field.get_db_prep_save(given, connection)

    usual = {f.attname: value(f, f.pre_save(fresh, add=True)) for f in fields}

    def prepared():
        for n, row in enumerate(rows, start=first):
            row = {"id": n, **row}
            assert row.keys() <= usual.keys(), row
            yield [
                value(f, row[f.attname]) if f.attname in row else usual[f.attname]
                for f in fields
            ]

    table = connection.ops.quote_name(kind._meta.db_table)
    names = ", ".join(connection.ops.quote_name(f.column) for f in fields)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in prepared():
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(fields))
            lines = prepared()
            # The cursor keeps all it is given until it is done.
            while batch := list(islice(lines, BATCH)):
                cursor.executemany(
                    f"INSERT INTO {table} ({names}) VALUES ({marks})", batch
                )
