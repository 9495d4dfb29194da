"""`[people]`: the roles that must give a second factor at signing in."""

from __future__ import annotations

from typing import get_args

from replacements.people.permissions import Role
from replacements.rules.office import StaffRole, parse_rules
from tests.rules.test_office_rules import SHORTEST, only_mistake


def test_the_rules_know_the_roles_that_accounts_have() -> None:
    assert set(get_args(StaffRole)) == set(Role)


def test_nobody_must_where_the_office_says_nothing() -> None:
    assert parse_rules(SHORTEST).people.second_factor == ()


def test_an_office_names_the_roles_that_must() -> None:
    rules = parse_rules(f'{SHORTEST}\n[people]\nsecond_factor = ["supervisor", "clerk"]\n')
    assert rules.people.second_factor == ("supervisor", "clerk")


def test_a_role_that_is_none_is_named_with_its_line_and_what_would_be_right() -> None:
    text = f'{SHORTEST}[people]\nsecond_factor = ["supervisor", "director"]\n'
    mistake = only_mistake(text)
    assert mistake.line == text.splitlines().index('second_factor = ["supervisor", "director"]') + 1
    assert "mail_room" in mistake.expected
    assert "director" in mistake.found
