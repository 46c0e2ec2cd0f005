"""Who may open which door: one table over every URL name.

A URL that is not here is shut. OPEN doors need no sign-in.
"""

COUNTER, BENCH, OWNER = "counter", "bench", "owner"
ALL = frozenset({COUNTER, BENCH, OWNER})
DESK = frozenset({COUNTER, OWNER})
WORKSHOP = frozenset({BENCH, OWNER})
OWNERS = frozenset({OWNER})

OPEN = frozenset({"staff:sign_in", "staff:set_up"})

DOORS: dict[str, frozenset[str]] = {
    # the front door
    "today": ALL,
    "find": ALL,
    "look": OWNERS,
    # staff
    "staff:sign_out": ALL,
    "staff:password": ALL,
    "staff:people": OWNERS,
    "staff:add": OWNERS,
    "staff:person": OWNERS,
    "staff:reset": OWNERS,
    # the shop's figures
    "shop:figures": OWNERS,
    # the post
    "post:outbox": DESK,
    "post:letter": DESK,
    "post:attachment": DESK,
    "post:resend": DESK,
    "post:drop": DESK,
    # customers and their devices
    "customers:all": ALL,
    "customers:customer": ALL,
    "customers:change": ALL,
    "customers:device": ALL,
    "customers:change_device": ALL,
    "customers:new_owner": ALL,
    # the counter
    "intake:book_in": ALL,
    "intake:booked": ALL,
    "intake:show_code": WORKSHOP,
    "intake:find_customer": ALL,
    "intake:find_device": ALL,
    "intake:slip": ALL,
    "intake:label": ALL,
    "intake:arrive": ALL,
    # the bench
    "bench:mine": ALL,
    "bench:job": ALL,
    "bench:head": ALL,
    "bench:findings": WORKSHOP,
    "bench:name_fault": WORKSHOP,
    "bench:new_fault": WORKSHOP,
    "bench:drop_fault": WORKSHOP,
    "bench:choose_fix": WORKSHOP,
    "bench:new_fix": WORKSHOP,
    "bench:give_up": WORKSHOP,
    "bench:take_up_again": WORKSHOP,
    "bench:reading": WORKSHOP,
    "bench:drop_reading": WORKSHOP,
    "bench:start_timer": WORKSHOP,
    "bench:stop_timer": WORKSHOP,
    "bench:book_minutes": WORKSHOP,
    "bench:drop_minutes": WORKSHOP,
    "bench:part": WORKSHOP,
    "bench:find_part": WORKSHOP,
    "bench:give_back": WORKSHOP,
    "bench:proof": WORKSHOP,
    "bench:diagnose": WORKSHOP,
    "bench:start_under_cover": WORKSHOP,
    "bench:revise": WORKSHOP,
    "bench:repair_done": WORKSHOP,
    "bench:prove": WORKSHOP,
    "bench:back_to_bench": WORKSHOP,
    "bench:close": WORKSHOP,
    "bench:close_otherwise": WORKSHOP,
    "bench:close_declined": WORKSHOP,
    "bench:reopen": WORKSHOP,
    # returns
    "returns:decide": ALL,
    # comebacks
    "comebacks:table": OWNERS,
    "comebacks:csv": OWNERS,
    "comebacks:json": OWNERS,
    "comebacks:pdf": OWNERS,
    "comebacks:pair": OWNERS,
    "comebacks:declare": OWNERS,
    "comebacks:verdict": ALL,
    "comebacks:fault_record": ALL,
    "comebacks:month": OWNERS,
    "comebacks:handed_back": OWNERS,
    "comebacks:deliveries": OWNERS,
    "comebacks:delivery": OWNERS,
    "comebacks:model": OWNERS,
    "comebacks:board": OWNERS,
    # the fault book
    "faults:book": ALL,
    "faults:fault": ALL,
    "faults:add": WORKSHOP,
    "faults:change": WORKSHOP,
    "faults:add_fix": WORKSHOP,
    "faults:change_fix": WORKSHOP,
    "faults:symptoms": ALL,
    "faults:add_symptom": WORKSHOP,
    "faults:change_symptom": WORKSHOP,
    "faults:checks": ALL,
    "faults:add_check": WORKSHOP,
    "faults:change_check": WORKSHOP,
    # the shelf
    "stock:shelf": ALL,
    "stock:part": ALL,
    "stock:add": WORKSHOP,
    "stock:change": WORKSHOP,
    "stock:receive": ALL,
    "stock:count": WORKSHOP,
    "stock:scrap": WORKSHOP,
    # the till
    "quotes:all": ALL,
    "quotes:for_job": ALL,
    "quotes:quote": ALL,
    "quotes:reckon": ALL,
    "quotes:send": ALL,
    "quotes:answer": ALL,
    "quotes:revise": ALL,
    "quotes:paper": ALL,
    "invoices:all": DESK,
    "invoices:invoice": DESK,
    "invoices:credit": DESK,
    "invoices:paper": DESK,
    "invoices:ubl": DESK,
    "handback:hand_back": DESK,
    "handback:cover": DESK,
}
