import re

import pytest

from shopdesk.errors import InvalidTransitionError
from shopdesk.state_table import StateTable

LAMP = StateTable(
    "lamp",
    labels={"on": "switched on", "off": "switched off", "gone": "thrown away"},
    allowed={"on": {"off"}, "off": {"on", "gone"}, "gone": set()},
)


def test_a_listed_transition_is_allowed():
    LAMP.check("on", "off")
    LAMP.check("off", "gone", only_from=["off"])


@pytest.mark.parametrize(("old", "new"), [("on", "gone"), ("gone", "on"), ("on", "on")])
def test_any_other_is_refused(old, new):
    with pytest.raises(InvalidTransitionError):
        LAMP.check(old, new)


def test_an_action_may_start_from_fewer_states_than_the_table_allows():
    said = "A lamp that is switched on cannot become switched off."
    with pytest.raises(InvalidTransitionError, match=f"^{re.escape(said)}$"):
        LAMP.check("on", "off", only_from=["off"])
