"""What is said at each step of a complaint, as the record keeps it; the words are held to be words."""

import re
from collections.abc import Mapping, Sequence
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Json
from wideroll.workflow.complaint_model import Finding, LookedAt, Step, Touched

__all__ = [
    "case_number",
    "closing",
    "finding_of",
    "looking",
    "opening",
    "reopening",
    "sample_asking",
    "seeing",
    "traced",
    "with_photographs",
]

_LONGEST: Final = 2000
_LONGEST_NAME: Final = 120
_CASE: Final = re.compile(r"(?:c-?)?0*([1-9][0-9]{0,8})", re.IGNORECASE)


def opening(*, finished: str, saw: str, reference: str = "") -> dict[str, Json]:
    """A customer complains about a finished roll.

    Args:
        finished: number of the finished roll.
        saw: what the customer saw.
        reference: the customer's own number for it, or empty.

    Raises:
        InputError: when a text is empty, too long or holds signs that can't be printed.
    """
    return {
        "step": Step.OPENED.value,
        "finished": _words(finished, "finished roll", "Give the number on its label.", longest=_LONGEST_NAME),
        "saw": _words(saw, "--saw", "Say what the customer saw."),
        "reference": _words(reference, "--reference", "Leave it out.", longest=_LONGEST_NAME) if reference else "",
        **traced(at="", trace={}, touched=()),
    }


def traced(*, at: str, trace: Mapping[str, Json], touched: Sequence[Touched]) -> dict[str, Json]:
    """What a step says besides, where the place was traced.

    Args:
        at: the place in the customer's words, empty for the whole roll.
        trace: the document of the trace.
        touched: the coated stretches that it leads to.
    """
    return {
        "at": _words(at, "--at", "Leave it out.", longest=_LONGEST_NAME) if at else "",
        "trace": dict(trace),
        "touched": [
            {
                "roll": one.roll,
                "batches": list(one.batches),
                "along_from_m": one.along_from_m,
                "along_to_m": one.along_to_m,
            }
            for one in touched
        ],
    }


def seeing(*, saw: str) -> dict[str, Json]:
    """More was said of it; empty where a photograph or a place says it."""
    return {"step": Step.SEEN.value, "saw": _words(saw, "--saw", "Say what was seen.") if saw else ""}


def sample_asking(samples: Sequence[str]) -> dict[str, Json]:
    """Retained samples are asked for.

    Raises:
        InputError: when none is named, or one twice.
    """
    named = [_sample(one) for one in samples]
    twice = next((one for rank, one in enumerate(named) if one.casefold() in _folded(named[:rank])), None)
    if not named or twice is not None:
        raise InputError(
            where="--sample",
            rule="each sample must be named once",
            value=twice or "none",
            mend="Name the samples that were retained, each with its own --sample.",
        )
    return {"step": Step.ASKED.value, "samples": list(named)}


def looking(*, sample: str, saw: str, there: bool = True) -> dict[str, Json]:
    """A retained sample was looked at, or looked for and not there any more."""
    return {
        "step": Step.LOOKED.value,
        "sample": _sample(sample),
        "there": there,
        "saw": _words(saw, "--saw", "Say what is to be seen on it, also when that is nothing.")
        if saw or there
        else "not there any more",
    }


def finding_of(finding: Finding, *, why: str, looked_at: Sequence[LookedAt]) -> dict[str, Json]:
    """Whose the fault is, why, and what was looked at for it."""
    return {
        "step": Step.FOUND.value,
        "finding": finding.value,
        "why": _words(why, "--why", "Say what it rests on."),
        "looked_at": [one.value for one in dict.fromkeys(looked_at)],
    }


def closing(*, outcome: str) -> dict[str, Json]:
    """The case ends."""
    return {
        "step": Step.CLOSED.value,
        "outcome": _words(outcome, "--outcome", "Say what the customer was told or given."),
    }


def reopening(*, why: str) -> dict[str, Json]:
    """It goes on; what was found must be found anew."""
    return {"step": Step.REOPENED.value, "why": _words(why, "--why", "Say what is new.")}


def with_photographs(body: Mapping[str, Json], kept: Mapping[str, tuple[str, str]]) -> dict[str, Json]:
    """The body with photographs named in it.

    Args:
        body: of a step.
        kept: name each came with and SHA-256, by where it lies in the plant.
    """
    if not kept:
        return dict(body)
    return {
        **body,
        "files": {file: sha256 for file, (_, sha256) in kept.items()},
        "names": {file: name for file, (name, _) in kept.items()},
    }


def case_number(text: str) -> int:
    """The number of a case, however it is written.

    Raises:
        InputError: when it is none.

    Example:
        >>> case_number("C-0003"), case_number("c3"), case_number("3")
        (3, 3, 3)
    """
    found = _CASE.fullmatch(text.strip())
    if found is None:
        raise InputError(
            where="case", rule="must be the number of a case", value=text, mend="Write it like C-0003 or 3."
        )
    return int(found[1])


def _sample(text: str) -> str:
    return _words(text, "--sample", "Name it as on its label.", longest=_LONGEST_NAME)


def _folded(names: Sequence[str]) -> set[str]:
    return {one.casefold() for one in names}


def _words(text: str, where: str, mend: str, *, longest: int = _LONGEST) -> str:
    """The text in one line, its spaces made single."""
    plain = " ".join(text.split())
    if not plain:
        raise InputError(where=where, rule="must hold words", value=text, mend=mend)
    if len(plain) > longest:
        rule = f"must have at most {longest} characters"
        raise InputError(where=where, rule=rule, value=len(plain), mend="Say it shorter, or keep a paper in the file.")
    if not plain.isprintable():
        rule = "must hold nothing but signs that can be printed"
        raise InputError(where=where, rule=rule, value=plain, mend="Type it as plain text.")
    return plain
