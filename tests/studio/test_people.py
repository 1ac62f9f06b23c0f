import pytest
from django.contrib.auth.models import AnonymousUser, Group

from studio import people
from studio.roles import HAND, NEEDS, OWNER, PUBLIC, ROLES, VIEWER, can, needs, role_of
from tests.builders import make_user

pytestmark = pytest.mark.django_db


def test_the_three_roles_are_there_once_however_often_they_are_made():
    people.make_roles()
    people.make_roles()
    assert sorted(Group.objects.values_list("name", flat=True)) == sorted(ROLES)


def test_owner_without_a_password_cannot_sign_in_by_one():
    people.make_roles()
    owner = people.make_owner("ada", None)
    assert not owner.has_usable_password()
    assert role_of(owner) == OWNER


@pytest.mark.parametrize("role", ROLES)
def test_role_is_the_group_of_a_person(role):
    assert role_of(make_user(role)) == role


def test_highest_of_two_roles_counts():
    user = make_user(VIEWER)
    user.groups.add(Group.objects.get(name=HAND))
    assert role_of(user) == HAND


def test_nobody_and_somebody_without_a_role_have_none():
    assert role_of(AnonymousUser()) == ""
    assert role_of(None) == ""
    assert role_of(make_user("")) == ""


def test_role_is_asked_of_the_database_once(django_assert_num_queries):
    user = make_user(HAND)
    with django_assert_num_queries(1):
        assert can(user, "store.take")
        assert not can(user, "money")


def test_without_a_role_only_the_door_is_open():
    nobody = make_user("")
    assert can(nobody, PUBLIC)
    assert not any(can(nobody, need) for need in NEEDS)


def test_money_is_the_owners_alone():
    assert NEEDS["money"] == {OWNER}


def test_viewer_only_reads_and_takes_stock_along():
    assert {need for need, roles in NEEDS.items() if VIEWER in roles} == {"read", "export.stock"}


def test_need_that_is_not_in_the_table_is_refused_when_the_view_is_written():
    with pytest.raises(ValueError, match=r"No such need: 'store\.burn'"):
        needs("store.burn")
