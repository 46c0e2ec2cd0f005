"""The answers of a shop with 18 months of data."""

import pytest
from openapi_schema_validator import OAS31Validator, oas31_format_checker

from tests.shopdesk.api.conftest import LISTS, PATHS

pytestmark = [pytest.mark.django_db, pytest.mark.once]


@pytest.mark.parametrize("scope", [{}, {"costs": True, "personal": True}])
def test_what_is_answered_is_what_the_document_says(
    demo, ask, token_of, document, scope
):
    _, text = token_of(**scope)
    for path in PATHS:
        if path == "customers" and not scope:
            continue
        answers = document["paths"][f"/api/v1/{path}"]["get"]["responses"]
        schema = answers["200"]["content"]["application/json"]["schema"]
        validator = OAS31Validator(
            schema | {"components": document["components"]},
            format_checker=oas31_format_checker,
        )
        answer = ask(path, text).json()
        assert len(answer["items"]) >= 3, path
        assert [error.message for error in validator.iter_errors(answer)] == []
        wrong = answer | {"items": [{**answer["items"][0], "id": None, "fault": 1}]}
        assert list(validator.iter_errors(wrong)), path
        for item in answer["items"]:
            assert bool(item.get("costs")) == bool(scope) or "costs" not in item
            assert bool(item.get("personal")) == bool(scope) or "personal" not in item


@pytest.mark.parametrize("path", LISTS)
def test_a_page_asks_the_database_as_often_for_twelve_rows_as_for_two(
    demo, ask, token_of, django_assert_max_num_queries, path
):
    _, text = token_of(costs=True, personal=True)
    ask(path, text, limit=2)
    with django_assert_max_num_queries(16):
        assert len(ask(path, text, limit=12).json()["items"]) >= 4
