"""Entry step by step: which question comes next, what an answer changes, undoing and putting back."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from wideroll.errors import InputError
from wideroll.server.examining.drafts import DraftSheet, Noted, Open
from wideroll.server.examining.questions import Question, Sheeted, setting_questions, sighting_questions

__all__ = ["KINDS", "act_on", "answer", "question_of", "step_back", "steps_of"]

KINDS: Final = (
    *("spot", "comet", "bubble", "hole", "pinhole", "streak", "band", "scratch", "static mark"),
    *("pressure mark", "fog", "coating void", "edge fault", "other"),
)
"""As roll.MARK_KINDS has them."""
_SAME: Final = ("kind", "along", "across", "size")


def steps_of(sheet: DraftSheet, about: Sheeted, *, shown: bool, before: Mapping[str, str]) -> tuple[Question, ...]:
    """The questions of which one is asked now: of the sheet's setting, or of the open sighting; none in between.

    Args:
        sheet: in hand.
        about: what the questions need to know of it.
        shown: whether the examiner was shown what others noted.
        before: how the sheet before was looked at.
    """
    first = setting_questions(about, listed=sheet.listed, shown=shown, before=before)
    if any(one.name not in sheet.setting for one in first):
        return first
    if sheet.open is None:
        return ()
    return sighting_questions(about, sheet.setting, sheet.open.answers, KINDS)


def question_of(sheet: DraftSheet, steps: Sequence[Question]) -> Question | None:
    """The one that is asked now."""
    if sheet.open is not None and not _is_setting(steps):
        return next((one for one in steps if one.name == sheet.open.at), steps[0])
    return next((one for one in steps if one.name not in sheet.setting), None)


def answer(
    sheet: DraftSheet,
    steps: Sequence[Question],
    *,
    name: str,
    text: str,
    now_utc: str,
    again: Callable[[DraftSheet], Sequence[Question]],
) -> DraftSheet:
    """The sheet after an answer; with the last one the sighting is saved.

    Args:
        sheet: in hand.
        steps: of ``steps_of``.
        name: of the question that was answered.
        text: as it was typed or chosen.
        now_utc: when.
        again: ``steps_of`` of a sheet, as an answer may bring further questions.

    Raises:
        InputError: when the answer can't be taken, or the sighting was noted already.
    """
    question = next((one for one in steps if one.name == name), None)
    if question is None:
        return sheet
    cell = _read(question, text)
    if question.photograph:
        _check_photograph(sheet, cell)
    if _is_setting(steps):
        return replace(sheet, setting={**sheet.setting, name: cell})
    given = sheet.open
    if given is None:
        return sheet
    given = replace(given, answers={**given.answers, name: cell})
    moved = replace(sheet, open=given)
    names = [one.name for one in again(moved)]
    place = names.index(name) + 1
    if place < len(names):
        return replace(moved, open=replace(given, at=names[place]))
    return _saved(moved, names, now_utc)


def step_back(sheet: DraftSheet, steps: Sequence[Question]) -> DraftSheet:
    """The question before is asked again; from the first one of a sighting back to the sheet, its answers kept."""
    if sheet.open is None or _is_setting(steps):
        given = [one.name for one in steps if one.name in sheet.setting]
        kept = {name: value for name, value in sheet.setting.items() if name not in given[-1:]}
        return replace(sheet, setting=kept)
    names = [one.name for one in steps]
    place = names.index(sheet.open.at) if sheet.open.at in names else 0
    return sheet if place == 0 else replace(sheet, open=replace(sheet.open, at=names[place - 1]))


def act_on(sheet: DraftSheet, act: str, number: int) -> DraftSheet:
    """The sheet after something was done with it besides an answer; unknown acts change nothing.

    Args:
        sheet: in hand.
        act: ``another``, ``leave``, ``undo``, ``put-back``, ``take-up``, ``finish``, ``go-on``, ``set-again``,
            ``drop``.
        number: of the sighting that it is about.
    """
    made = _ACTS.get(act)
    return sheet if made is None else made(sheet, number)


def _read(question: Question, text: str) -> str:
    if not text.strip() and question.usual is not None and not question.choices:
        return question.read(question.usual)
    if not text.strip() and question.usual is None:
        raise InputError(where=question.name, rule="needs an answer", mend="Type it, or choose one.")
    return question.read(text)


def _check_photograph(sheet: DraftSheet, cell: str) -> None:
    """It is the one that was sent up for the sighting, and has a scale."""
    given = sheet.open.answers if sheet.open is not None else {}
    if cell and cell != given.get("photograph"):
        raise InputError(where="photograph", rule="must be the one sent up", value=cell, mend="Send it up again.")
    if cell and not given.get("photograph_scale"):
        raise InputError(where="photograph", rule="needs a scale", mend="Measure on it, or save without it.")


def _is_setting(steps: Sequence[Question]) -> bool:
    return any(one.name == "loupe" for one in steps)


def _saved(sheet: DraftSheet, asked: Sequence[str], now_utc: str) -> DraftSheet:
    given = sheet.open
    if given is None:
        return sheet
    kept = {*asked, *(("photograph_scale",) if given.answers.get("photograph") else ())}
    cells = {name: cell for name, cell in given.answers.items() if cell and name in kept}
    if cells.get("grade") and sheet.setting.get("loupe"):
        cells["magnification"] = sheet.setting["loupe"]
    twin = next((one for one in sheet.holds if all(one.cells.get(name) == cells.get(name) for name in _SAME)), None)
    if twin is not None and twin.number != given.number:
        raise InputError(
            where="place",
            rule=f"the same is noted as sighting {twin.number} of this sheet",
            mend="Go back and correct its place, or leave this one.",
        )
    saved = Noted(number=given.number, cells=cells, at_utc=now_utc)
    others = tuple(one for one in sheet.noted if one.number != given.number)
    return replace(sheet, noted=tuple(sorted((*others, saved), key=lambda one: one.number)), open=None)


def _another(sheet: DraftSheet, number: int) -> DraftSheet:
    del number
    if sheet.open is not None:
        return sheet
    return replace(sheet, open=Open(number=sheet.next_number, at="kind"), finished=False)


def _leave(sheet: DraftSheet, number: int) -> DraftSheet:
    """Of a new sighting the answers go; one that was taken up again stays as it was saved."""
    del number
    return replace(sheet, open=None)


def _undo(sheet: DraftSheet, number: int) -> DraftSheet:
    return _marked(sheet, number, undone=True)


def _put_back(sheet: DraftSheet, number: int) -> DraftSheet:
    return _marked(sheet, number, undone=False)


def _marked(sheet: DraftSheet, number: int, *, undone: bool) -> DraftSheet:
    noted = tuple(replace(one, undone=undone) if one.number == number else one for one in sheet.noted)
    return replace(sheet, noted=noted, finished=False)


def _take_up(sheet: DraftSheet, number: int) -> DraftSheet:
    found = next((one for one in sheet.noted if one.number == number), None)
    if found is None or sheet.open is not None:
        return sheet
    return replace(sheet, open=Open(number=number, at="kind", answers=dict(found.cells)), finished=False)


def _finish(sheet: DraftSheet, number: int) -> DraftSheet:
    del number
    return sheet if sheet.open is not None else replace(sheet, finished=True)


def _go_on(sheet: DraftSheet, number: int) -> DraftSheet:
    del number
    return replace(sheet, finished=False)


def _set_again(sheet: DraftSheet, number: int) -> DraftSheet:
    del number
    return replace(sheet, setting={name: cell for name, cell in sheet.setting.items() if name == "blind"})


def _drop(sheet: DraftSheet, number: int) -> DraftSheet:
    del number
    return replace(sheet, dropped=True)


_ACTS: Final[Mapping[str, Callable[[DraftSheet, int], DraftSheet]]] = {
    "another": _another,
    "leave": _leave,
    "undo": _undo,
    "put-back": _put_back,
    "take-up": _take_up,
    "finish": _finish,
    "go-on": _go_on,
    "set-again": _set_again,
    "drop": _drop,
}
