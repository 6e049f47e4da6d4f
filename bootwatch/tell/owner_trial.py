"""A test message in the owner's words."""

from __future__ import annotations

from bootwatch.model.care import Care
from bootwatch.tell.owner_words import Words


def owner_trial(care: Care) -> tuple[str, list[str]]:
    """A title, and paragraphs."""
    say = Words(care.language).say
    return say("Only a test: there is nothing for you to do"), [
        say(
            "This message is only a test. Nothing is wrong with the computer, and there is nothing "
            "for you to do."
        ),
        say("Should something ever be wrong with it, a message like this one will tell you what to do."),
    ]
