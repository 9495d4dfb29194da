import pytest

from replacements.people.permissions import MAY, Permission, Role, may


def test_every_permission_has_somebody_who_has_it() -> None:
    assert set(MAY) == set(Permission)
    assert all(MAY.values())


def test_an_observer_never_sees_anything_personal_and_changes_nothing() -> None:
    held = {p for p in Permission if may([Role.OBSERVER], p)}
    assert held == {
        Permission.SEE_REQUESTS,
        Permission.SEE_MAILING,
        Permission.SEE_RULES,
        Permission.SEE_TEXTS,
        Permission.SEE_WEEK,
        Permission.SEE_LEDGER,
        Permission.SEE_HEALTH,
    }


@pytest.mark.parametrize("other", [r for r in Role if r is not Role.OBSERVER])
def test_an_observer_with_another_role_by_mistake_is_still_only_an_observer(other: Role) -> None:
    assert not may([Role.OBSERVER, other], Permission.SEE_PERSONAL)
    assert not may([other, Role.OBSERVER], Permission.DECIDE)


def test_the_return_desk_sees_no_requests_and_no_names() -> None:
    assert may([Role.RETURN_DESK], Permission.USE_RETURN_DESK)
    assert not may([Role.RETURN_DESK], Permission.SEE_REQUESTS)
    assert not may([Role.RETURN_DESK], Permission.SEE_PERSONAL)


def test_the_mail_room_decides_nothing() -> None:
    assert may([Role.MAIL_ROOM], Permission.SIGN_MAILING)
    assert not may([Role.MAIL_ROOM], Permission.DECIDE)


def test_a_role_that_nobody_knows_gives_nothing() -> None:
    assert not any(may(["director", ""], p) for p in Permission)
    assert not any(may([], p) for p in Permission)
