"""What can hurt, said where a sheet tells people to go near a machine."""

from typing import Final

__all__ = ["ROLLER_CAUTION", "SLITTER_CAUTION"]

ROLLER_CAUTION: Final = (
    "Rollers draw in: nip points and a moving web. Stop the line, lock it out and prove that it can't start before "
    "anybody touches or cleans a roller. This sheet advises only; site procedure, local code and licensed practice "
    "rule."
)
SLITTER_CAUTION: Final = (
    "The web moves, nips draw in, and rotary knives cut while they run down. Keep the guards shut; stop, lock out and "
    "prove that the slitter can't start before anybody sets a knife, threads web or takes off a roll. Raw film is slit "
    "in the dark: set knives and counters by this list beforehand, and take no lit page or screen into the dark room. "
    "This list advises only; site procedure, local code and licensed practice rule."
)
