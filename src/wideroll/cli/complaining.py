"""The commands that take a complaint from step to step."""

from typing import Annotated, Final

import typer

from wideroll.acts.complaint_desk import add_to_complaint, open_complaint, take_step
from wideroll.cli.app import app
from wideroll.cli.commands import InFull
from wideroll.cli.complaint_desk import CaseArg, Photos, Saw, WhoComplains, answer
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.workflow.complaint_model import Finding, LookedAt
from wideroll.workflow.complaint_steps import closing, finding_of, looking, reopening, sample_asking

__all__ = ["add", "ask", "close", "complaint", "find", "look", "open_case", "reopen"]

complaint = typer.Typer(
    cls=InFull, no_args_is_help=True, help="Take a complaint about a finished roll from step to step."
)
app.add_typer(complaint, name="complaint")

At = Annotated[
    str | None,
    typer.Option("--at", metavar="PLACE", help="Where on it, such as '14 ft 3 in from outer end'; else all of it."),
]
SampleName = Annotated[str, typer.Option("--sample", metavar="NAME", help="The retained sample, as on its label.")]
_ONLY_UNTRACED: Final = "a place is what is traced: leave one of the two away"


@complaint.command(name="open")
def open_case(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    finished: Annotated[str, typer.Argument(metavar="FINISHED", help="Number of the finished roll.")],
    *,
    saw: Saw,
    at: At = None,
    photo: Photos = None,
    reference: Annotated[str, typer.Option(metavar="TEXT", help="The customer's own number for it.")] = "",
    untraced: Annotated[
        bool, typer.Option("--untraced", help="Also where the finished roll isn't known here.")
    ] = False,
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Open a case for a complaint about a finished roll; it is traced to the coated web at once.

    \b
    Examples:
      wideroll complaint open demo W-2042/001-04 --saw "dark scratch" --at "14 ft 3 in from outer end"
      wideroll complaint open demo W-2042/001-04 --saw "spots all over" --photo frame-12.jpg
    """
    if untraced and at is not None:
        raise misused(_ONLY_UNTRACED, "--untraced")
    case = open_complaint(
        plant, finished, saw=saw, at=at, reference=reference, untraced=untraced, photos=photo or (), who=who
    )
    answer(case, as_json=as_json)


@complaint.command()
def add(
    plant: PlantArg,
    case: CaseArg,
    *,
    saw: Annotated[str, typer.Option(metavar="TEXT", help="What else was seen.")] = "",
    at: At = None,
    photo: Photos = None,
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Add what else the customer said, showed or measured; a new place is traced anew.

    \b
    Examples:
      wideroll complaint add demo C-0003 --photo frame-13.jpg --photo frame-14.jpg
      wideroll complaint add demo C-0003 --saw "also on the next frame" --at "4.3 m from core"
    """
    answer(add_to_complaint(plant, case, saw=saw, at=at, photos=photo or (), who=who), as_json=as_json)


@complaint.command()
def ask(
    plant: PlantArg,
    case: CaseArg,
    *,
    sample: Annotated[list[str], typer.Option("--sample", metavar="NAME", help="A retained sample; may be repeated.")],
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Ask for retained samples: the case waits until somebody has looked at them.

    \b
    Examples:
      wideroll complaint ask demo C-0003 --sample "W-2042 sheet 3"
      wideroll complaint ask demo C-0003 --sample "W-2042/001-04 end piece" --sample "W-2042 sheet 3"
    """
    answer(take_step(plant, case, sample_asking(sample), who=who), as_json=as_json)


@complaint.command()
def look(
    plant: PlantArg,
    case: CaseArg,
    *,
    sample: SampleName,
    saw: Annotated[str, typer.Option(metavar="TEXT", help="What is to be seen on it, also when that is nothing.")] = "",
    not_there: Annotated[bool, typer.Option("--not-there", help="The sample isn't there any more.")] = False,
    photo: Photos = None,
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Say what a look at a retained sample showed.

    \b
    Examples:
      wideroll complaint look demo C-0003 --sample "W-2042 sheet 3" --saw "the same scratch, 0.2 mm wide"
      wideroll complaint look demo C-0003 --sample "W-2042/001-04 end piece" --not-there
    """
    body = looking(sample=sample, saw=saw, there=not not_there)
    answer(take_step(plant, case, body, photos=photo or (), who=who), as_json=as_json)


@complaint.command()
def find(
    plant: PlantArg,
    case: CaseArg,
    finding: Annotated[
        Finding, typer.Argument(metavar="FINDING", help="Whose it is: ours, handling, camera, lab or unknown.")
    ],
    *,
    why: Annotated[str, typer.Option(metavar="TEXT", help="What it rests on, in words.")],
    looked_at: Annotated[
        list[LookedAt] | None,
        typer.Option("--looked-at", metavar="WHAT", help="trace, photograph or sample; may be repeated."),
    ] = None,
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Say whose the fault is, why, and what of the case was looked at for it.

    \b
    Examples:
      wideroll complaint find demo C-0003 ours --looked-at trace --looked-at sample --why "streak 3 runs there"
      wideroll complaint find demo C-0003 camera --looked-at photograph --why "at one place in each frame"
    """
    body = finding_of(finding, why=why, looked_at=looked_at or ())
    answer(take_step(plant, case, body, who=who), as_json=as_json)


@complaint.command()
def close(
    plant: PlantArg,
    case: CaseArg,
    *,
    outcome: Annotated[str, typer.Option(metavar="TEXT", help="What the customer was told or given.")],
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Close a case with its outcome; it needs a finding.

    \b
    Examples:
      wideroll complaint close demo C-0003 --outcome "replaced 10 rolls, sisters called back"
      wideroll complaint close demo C-0004 --outcome "told: the gate of the camera scratches" --who "C. Desk"
    """
    answer(take_step(plant, case, closing(outcome=outcome), who=who), as_json=as_json)


@complaint.command()
def reopen(
    plant: PlantArg,
    case: CaseArg,
    *,
    why: Annotated[str, typer.Option(metavar="TEXT", help="What is new.")],
    who: WhoComplains = None,
    as_json: Json = False,
) -> None:
    """Open a closed case again, with the reason; what was found must be found anew.

    \b
    Examples:
      wideroll complaint reopen demo C-0003 --why "a second roll of the same lane came back"
      wideroll complaint reopen demo 3 --why "the sample turned up" --who "C. Desk"
    """
    answer(take_step(plant, case, reopening(why=why), who=who), as_json=as_json)
