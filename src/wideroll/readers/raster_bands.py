"""Lines that are decoded band by band: a strip, a row of tiles or chunks, at the worst the whole image."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from numpy.typing import NDArray

from wideroll.readers.raster_file import MOST_BYTES_AT_ONCE, Lost, Why, joined, too_large
from wideroll.scan import LostLines
from wideroll.workflow import Grey

__all__ = ["BandLostError", "Bands", "check_band_size"]


class BandLostError(Exception):
    """A band can't be read; says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """An image cut into bands of ``rows`` lines, the last of which may be shorter."""

    path: Path
    lines: int
    columns: int
    channels: int
    rows: int
    whys: tuple[str, ...]
    """Why each band is known to be lost; empty where it isn't."""

    def known(self) -> Sequence[Lost]:
        """Lines of the bands that aren't there."""
        return joined(
            Lost(first=band * self.rows, lines=self.height(band), why=why) for band, why in enumerate(self.whys) if why
        )

    def height(self, band: int) -> int:
        """Lines of a band."""
        return min(self.rows, self.lines - band * self.rows)

    def read(self, first: int, stop: int, decode: Callable[[int], NDArray[Any]]) -> Iterator[Grey | LostLines]:
        """Lines in order, a band at a time; a band that can't be decoded is lost, and no other.

        Args:
            first: First line.
            stop: Line after the last.
            decode: Pixels of a band, ``[along, across, channel]``, at least as long and wide as the band.
        """
        for band in range(first // self.rows, -(-stop // self.rows)):
            start, height = band * self.rows, self.height(band)
            low, high = max(first - start, 0), min(stop - start, height)
            pixels, why = self._decoded(band, decode)
            if pixels is None:
                yield LostLines(lines=high - low, why=f"{self.path.name} {why}")
                continue
            cut = pixels[low:high, : self.columns]
            yield cast("Grey", cut[:, :, 0] if self.channels == 1 else cut)

    def _decoded(self, band: int, decode: Callable[[int], NDArray[Any]]) -> tuple[NDArray[Any] | None, str]:
        if self.whys[band]:
            return None, self.whys[band]
        try:
            pixels = decode(band)
        except BandLostError as lost:
            return None, str(lost)
        except MemoryError as error:
            raise too_large(self.path, f"{self.height(band)} lines of {self.columns} pixels") from error
        except OSError as error:  # with a number it comes from the disk, else from a library that was given damage
            return None, Why.DAMAGED if error.errno is None else Why.UNREADABLE
        except Exception:  # noqa: BLE001  -- the libraries answer damage with errors of a dozen kinds
            return None, Why.DAMAGED
        if len(pixels) < self.height(band) or pixels.shape[1] < self.columns or pixels.shape[2] != self.channels:
            return None, Why.DAMAGED
        return pixels.astype(pixels.dtype.newbyteorder("="), copy=False), ""


def check_band_size(path: Path, lines: int, line_bytes: int) -> None:
    """Refuse an image that has to be decoded in pieces too large for memory.

    Raises:
        InputError: naming the file.
    """
    if lines * line_bytes > MOST_BYTES_AT_ONCE:
        raise too_large(path, f"{lines} lines of {line_bytes} bytes in one strip, tile or chunk")
