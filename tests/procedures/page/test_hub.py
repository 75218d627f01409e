"""The present state that screens are told."""

from __future__ import annotations

from procedures.page.hub import Hub


def test_a_late_screen_gets_the_newest_of_each_topic_only() -> None:
    hub = Hub()
    for number in range(100):
        hub.publish("view", {"n": number})
    hub.publish("prompt", {"text": "Connect it."})
    version, topics = hub.since(0)
    assert topics == {"view": {"n": 99}, "prompt": {"text": "Connect it."}}
    assert hub.since(version)[1] == {}
    hub.publish("view", {})
    assert hub.since(version)[1] == {"view": {}}
    assert hub.now("prompt") == {"text": "Connect it."}
    assert hub.now("says") == {}


def test_a_change_wakes_whoever_asked_for_it() -> None:
    hub, woken = Hub(), []
    hub.publish("view", {})
    hub.on_change(lambda: woken.append(1))
    hub.publish("view", {})
    hub.on_change(None)
    hub.publish("view", {})
    assert woken == [1]
