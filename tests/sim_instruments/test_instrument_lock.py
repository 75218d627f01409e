"""One controller at a time."""

from __future__ import annotations

import threading

from sim_instruments.instrument_lock import InstrumentLock


def test_one_holds_it_and_others_are_turned_away():
    """Only the holder gives it back."""
    lock = InstrumentLock()
    assert lock.acquire(1, 0)
    assert lock.holder == 1
    assert lock.passes(1, 0)
    assert not lock.passes(2, 0)
    assert not lock.acquire(2, 0.01)
    assert not lock.release(2)
    assert lock.release(1)
    assert lock.acquire(2, 0)


def test_who_waits_gets_it_when_it_is_given_back():
    """Within the limit."""
    lock = InstrumentLock()
    lock.acquire(1, 0)
    got: list[bool] = []
    waiter = threading.Thread(target=lambda: got.append(lock.acquire(2, 5.0)))
    waiter.start()
    lock.release(1)
    waiter.join(5)
    assert got == [True]


def test_closing_sends_waiters_away():
    """Without the lock."""
    lock = InstrumentLock()
    lock.acquire(1, 0)
    got: list[bool] = []
    waiter = threading.Thread(target=lambda: got.append(lock.acquire(2, 60.0)))
    waiter.start()
    lock.close()
    waiter.join(5)
    assert got == [False]
