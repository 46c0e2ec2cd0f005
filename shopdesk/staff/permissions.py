"""Who may open which page: a table of rooms, and of pages that differ from theirs.

A room is the namespace of a URL. What is in neither table is closed to everyone.
Another table lists the pages that ask for the password again.
"""

COUNTER, BENCH, OWNER = "counter", "bench", "owner"
ANY_ROLE = frozenset({COUNTER, BENCH, OWNER})
COUNTER_OR_OWNER = frozenset({COUNTER, OWNER})
BENCH_OR_OWNER = frozenset({BENCH, OWNER})
OWNER_ONLY = frozenset({OWNER})

# Open without sign-in. Their views state that, too: see `login_not_required`.
PUBLIC_URLS = frozenset(
    {
        *("staff:sign_in", "staff:code", "staff:set_up"),
        *("link:page", "link:paper", "link:photo", "link:thumbnail"),
        *("photo_link:page", "photo_link:thumbnail"),
        "health",
        # Open to who has a token, not to a session: see `shopdesk/api/bearer.py`.
        *("api:jobs", "api:repairs", "api:comeback_table", "api:parts"),
        *("api:invoices", "api:payments", "api:customers", "api:faults", "api:fixes"),
        "api_document",
    }
)

ROOM_ROLES = {
    "staff": OWNER_ONLY,
    "shop": OWNER_ONLY,
    "trail": OWNER_ONLY,
    "api_tokens": OWNER_ONLY,
    "personal_data": OWNER_ONLY,
    "mail": COUNTER_OR_OWNER,
    "customers": ANY_ROLE,
    "intake": ANY_ROLE,
    "bench": BENCH_OR_OWNER,
    "diagnosis": ANY_ROLE,
    "returns": ANY_ROLE,
    "photos": ANY_ROLE,
    "comebacks": OWNER_ONLY,
    "month": OWNER_ONLY,
    "knowledge": OWNER_ONLY,
    "open_data": OWNER_ONLY,
    "faults": BENCH_OR_OWNER,
    "sheet_import": OWNER_ONLY,
    "stock": BENCH_OR_OWNER,
    "quotes": ANY_ROLE,
    "customer_links": ANY_ROLE,
    "changes": ANY_ROLE,
    "repair_form": COUNTER_OR_OWNER,
    "invoices": COUNTER_OR_OWNER,
    "reminders": COUNTER_OR_OWNER,
    "day_close": COUNTER_OR_OWNER,
    "handover": COUNTER_OR_OWNER,
}

URL_ROLES = {
    "today": ANY_ROLE,
    "find": ANY_ROLE,
    "look": OWNER_ONLY,
    "staff:confirm": ANY_ROLE,
    "staff:devices": ANY_ROLE,
    "staff:end_device": ANY_ROLE,
    "staff:second_factor": ANY_ROLE,
    "staff:start_second_factor": ANY_ROLE,
    "staff:activate_second_factor": ANY_ROLE,
    "staff:remove_second_factor": ANY_ROLE,
    "staff:recovery_codes": ANY_ROLE,
    "staff:sign_out": ANY_ROLE,
    "staff:switch": ANY_ROLE,
    "staff:password": ANY_ROLE,
    "staff:language": ANY_ROLE,
    "intake:show_code": BENCH_OR_OWNER,
    "bench:list": ANY_ROLE,
    "bench:set_tries_required": OWNER_ONLY,
    "bench:finished": ANY_ROLE,
    "bench:waiting": ANY_ROLE,
    "bench:job": ANY_ROLE,
    "bench:save_details": ANY_ROLE,
    "customers:change_model": BENCH_OR_OWNER,
    "customers:phones": OWNER_ONLY,
    "diagnosis:record_result": BENCH_OR_OWNER,
    "diagnosis:merge_faults": OWNER_ONLY,
    "diagnosis:merge_fixes": OWNER_ONLY,
    "knowledge:verdict": ANY_ROLE,
    "knowledge:fault_record": ANY_ROLE,
    "knowledge:standings": ANY_ROLE,
    "knowledge:readings": ANY_ROLE,
    "knowledge:notes": ANY_ROLE,
    "knowledge:add_note": BENCH_OR_OWNER,
    "knowledge:change_note": BENCH_OR_OWNER,
    "knowledge:remove_note": BENCH_OR_OWNER,
    "sheet_import:uncoded": BENCH_OR_OWNER,
    "sheet_import:reconsider": BENCH_OR_OWNER,
    "faults:book": ANY_ROLE,
    "faults:fault": ANY_ROLE,
    "faults:symptoms": ANY_ROLE,
    "faults:checks": ANY_ROLE,
    "stock:parts": ANY_ROLE,
    "stock:part": ANY_ROLE,
    "stock:receive": ANY_ROLE,
    "stock:block": OWNER_ONLY,
    "stock:release": OWNER_ONLY,
    "month:warnings": ANY_ROLE,
    "month:lots": BENCH_OR_OWNER,
    # Its view asks who may see costs.
    "stock:enter_cost": ANY_ROLE,
    # Its view asks who may open the record itself.
    "trail:record": ANY_ROLE,
}

# Open only to who gave their password or second factor in the last minutes: what
# reveals a code, exports data, or changes staff or the shop's settings.
CONFIRMED_URLS = frozenset(
    {
        "api_tokens:create",
        "api_tokens:revoke",
        "comebacks:csv",
        "comebacks:json",
        "comebacks:xlsx",
        "day_close:csv",
        "intake:show_code",
        "personal_data:erase",
        "personal_data:zip",
        "sheet_import:confirm",
        "sheet_import:decisions",
        "sheet_import:start",
        "sheet_import:undo",
        "shop:confirm_clock",
        "shop:set_up",
        "shop:settings",
        "staff:activate_second_factor",
        "staff:add",
        "staff:end_sessions",
        "staff:person",
        "staff:recovery_codes",
        "staff:remove_member_factor",
        "staff:remove_second_factor",
        "staff:reset",
        "staff:second_factor",
        "staff:start_second_factor",
    }
)

# What is sent to these is never kept: it holds secrets, or makes sense only at once.
NEVER_HELD_URLS = PUBLIC_URLS | {
    "staff:activate_second_factor",
    "staff:confirm",
    "staff:password",
    "staff:sign_out",
    "staff:switch",
}


def roles_for(url_name: str) -> frozenset[str]:
    """Return the roles that may open the URL called `url_name`."""
    room = url_name.rpartition(":")[0]
    return URL_ROLES.get(url_name) or ROOM_ROLES.get(room, frozenset())


def can_open(user, url_name: str) -> bool:
    """Whether `user` may open the URL called `url_name`."""
    return user.is_authenticated and user.role in roles_for(url_name)


def can_see_costs(user, shop) -> bool:
    """Whether `user` may see costs, margins and comeback allowances.

    The settings of the shop decide, except for owners, who see all.
    """
    if not user.is_authenticated:
        return False
    by_role = {COUNTER: shop.counter_sees_costs, BENCH: shop.bench_sees_costs}
    return user.role == OWNER or by_role.get(user.role, False)
