"""Which screen may act."""

from __future__ import annotations

import threading

from procedures.page.pairing import Pairing


def test_on_the_loopback_address_everybody_may_act_without_a_token() -> None:
    pairing = Pairing(needed=False)
    assert pairing.token == ""
    assert pairing.may_act(None)
    assert pairing.exchange("") is None


def test_a_token_is_good_for_one_screen_once() -> None:
    pairing = Pairing(needed=True)
    token = pairing.token
    assert len(token) >= 22  # 128 bits in base64, at least (RFC 4648: 6 bits a character)
    assert not pairing.may_act(None)
    cookie = pairing.exchange(token)
    assert cookie is not None
    assert pairing.may_act(cookie)
    assert pairing.exchange(token) is None
    assert pairing.token == ""
    assert not pairing.may_act(token)
    assert not pairing.may_act(cookie[:-1])


def test_wrong_tokens_do_not_use_up_the_right_one() -> None:
    pairing = Pairing(needed=True)
    assert pairing.exchange("") is None
    assert pairing.exchange("é" * 24) is None
    assert pairing.exchange(pairing.token) is not None


def test_both_end_with_the_run() -> None:
    pairing = Pairing(needed=True)
    token, cookie = pairing.token, pairing.exchange(pairing.token)
    pairing.expire()
    assert not pairing.may_act(cookie)
    assert pairing.exchange(token) is None
    pairing.renew()
    assert pairing.token == ""
    open_to_all = Pairing(needed=False)
    open_to_all.expire()
    assert not open_to_all.may_act(None)


def test_a_new_token_ends_the_old_one_and_the_cookie() -> None:
    pairing = Pairing(needed=True)
    token = pairing.token
    assert not pairing.renew(), "none was paired"
    assert pairing.exchange(token) is None
    cookie = pairing.exchange(pairing.token)
    assert pairing.renew()
    assert not pairing.may_act(cookie)
    assert pairing.token not in ("", token)
    assert pairing.may_act(pairing.exchange(pairing.token))


def test_on_the_loopback_address_there_is_nothing_to_pair_anew() -> None:
    pairing = Pairing(needed=False)
    assert not pairing.renew()
    assert pairing.token == ""
    assert pairing.may_act(None)


def test_no_two_runs_share_a_token() -> None:
    assert len({Pairing(needed=True).token for _ in range(50)}) == 50


def test_a_screen_is_not_let_go_while_it_acts() -> None:
    """Letting go waits until the wish is handed over, where it can be withdrawn."""
    pairing = Pairing(needed=True)
    cookie = pairing.exchange(pairing.token)
    letting_go = threading.Thread(target=pairing.renew)
    with pairing.acting(cookie) as may_act:
        assert may_act
        letting_go.start()
        letting_go.join(0.02)
        assert letting_go.is_alive()
    letting_go.join()
    with pairing.acting(cookie) as may_act:
        assert not may_act
