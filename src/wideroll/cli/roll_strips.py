"""What the command shows of a roll's strips: runs, deviations, and what changes along and across."""

from pathlib import Path

from wideroll.acts.rolls import take_in_hand
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.report import process_runs_table, rich_table, strips_table
from wideroll.report.dye_grids import dyes_grid, has_dyes
from wideroll.report.machine import strips_json
from wideroll.report.profile_grids import change_sentences, changes_grid
from wideroll.report.profile_picture import draw_profiles
from wideroll.store import write_whole
from wideroll.workflow.strip_profiles import profile_strips

__all__ = ["show_roll"]


def show_roll(plant: Path, roll: str, drawn: Path | None, *, as_json: bool) -> None:
    """The strips of a roll, run by run, then the changes at its borders; the profiles drawn where asked for."""
    desk = take_in_hand(plant, roll).desk
    room = desk.strips()
    profiles = profile_strips(room, desk.card, desk.whole, desk.product.aims)
    if drawn is not None:
        write_whole(drawn, draw_profiles(profiles).encode())
        tell(f"profiles: {drawn}")
    if as_json:
        print_json(strips_json(room, profiles))
        return
    print_table(process_runs_table(room.runs, room.processors))
    print_table(strips_table(room.results))
    if has_dyes(room.results):
        print_table(rich_table(dyes_grid(room.results, room.runs)))
    if profiles.borders:
        print_table(rich_table(changes_grid(profiles)))
    for sentence in change_sentences(profiles):
        say(sentence)
