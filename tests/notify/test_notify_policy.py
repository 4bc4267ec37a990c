"""Policy and masking. The figures are our own choice (no source); the jitter's bounds are stated in the policy."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.notify import addresses_from, masked
from panelward.notify.addresses import without_secrets
from panelward.notify.policy import expires_after_s, next_try_s


@pytest.mark.parametrize(
    ("attempts", "middle_s"), [(1, 5), (2, 10), (3, 20), (4, 40), (7, 320), (8, 640), (9, 900), (40, 900), (10_000, 900)]
)
def test_waits_double_from_5_s_to_15_min_spread_by_half(attempts: int, middle_s: float) -> None:
    rng = random.Random(1)
    waits = [next_try_s(attempts, rng) for _ in range(400)]
    assert all(0.5 * middle_s <= wait <= 1.5 * middle_s for wait in waits)
    assert min(waits) < 0.6 * middle_s
    assert max(waits) > 1.4 * middle_s


def test_a_first_try_that_never_was_counts_as_one() -> None:
    assert 2.5 <= next_try_s(0, random.Random(1)) <= 7.5


def test_what_matters_more_is_sent_for_longer() -> None:
    day_s = 86_400
    assert [expires_after_s(p) / day_s for p in ("high", "medium", "low")] == [7, 3, 1]
    assert expires_after_s("unheard-of") == 7 * day_s


def test_addresses_are_split_at_spaces_and_named_in_order() -> None:
    assert addresses_from("  json://a/1 \n mailto://b@example.org  json://a/1 ") == {
        "notify-1": "json://a/1",
        "notify-2": "mailto://b@example.org",
    }
    assert addresses_from("") == {}


@pytest.mark.parametrize(
    ("url", "shown"),
    [
        ("json://user:pw@example.org:8080/hook/key?x=1", "json://example.org/…"),
        ("jsons://homebox/path", "jsons://homebox/…"),
        ("mailto://someone:pw@example.org?to=other@example.net", "mailto://example.org/…"),
        ("json://[::1]:8080/key", "json://[::1]/…"),
        ("service://127.0.0.1/key", "service://127.0.0.1/…"),
        ("service://host.example.org/key", "service://host.example.org/…"),
        ("service://123456789:AbCdEf/987", "service://…"),  # the first part is a key
        ("service://SG.abcDEF.ghi/987", "service://…"),
        ("service://topickey", "service://…"),
        ("json://p/w@rd@example.org/x", "json://p/…"),
        ("not an address", "…"),
        ("", "…"),
    ],
)
def test_masked_shows_scheme_and_host_only(url: str, shown: str) -> None:
    assert masked(url) == shown


_SECRETS = st.text(alphabet="ABCDEFGHJKLMNPQRSTUVWXYZ23456789", min_size=8, max_size=24)


@given(_SECRETS, _SECRETS, _SECRETS, st.sampled_from(["json", "service", "mailto"]))
def test_no_piece_of_an_address_survives_masking(user: str, password: str, token: str, scheme: str) -> None:
    url = f"{scheme}://{user}:{password}@example.org:8443/{token}/?key={token}"
    text = without_secrets(f"could not post to {url} as {user} with {password} and {token}", url)
    for secret in (user, password, token):
        assert secret not in masked(url)
        assert secret not in text
    assert "could " in text
