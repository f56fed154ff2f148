"""The files of a plant as pydantic models: which fields there are, and what each may hold."""

import itertools
from pathlib import Path
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.costs_table import CostsTable
from wideroll.readers.criterion_table import CriterionTable
from wideroll.readers.cutting_table import CuttingTable, check_runs
from wideroll.readers.days import Day, Moment
from wideroll.readers.dyes_table import DyesTable
from wideroll.readers.fields import (
    FileModel,
    Finite,
    Metres,
    Millimetres,
    Name,
    Positive,
    PositiveMillimetres,
    each_once,
)
from wideroll.readers.grades_table import GradesTable
from wideroll.readers.notice_table import NoticeTable
from wideroll.readers.property_table import PropertyTable
from wideroll.readers.record_address import RecordAddress
from wideroll.readers.width_table import WidthTable
from wideroll.readers.winding_table import WindingTable
from wideroll.readers.zone_table import ZoneTable, check_zones, stage_of
from wideroll.repeats import USUAL_DAYS, Roller, Stage
from wideroll.roll import ShopUnits, Side
from wideroll.sensitometry import SHAPE_SPREAD, Aims, Curve, FilmDyes, FilmType, Record
from wideroll.workflow.model import Batch, Plant, Product, RollCard, Scanner

__all__ = [
    "AimsTable",
    "BatchTable",
    "PlantFile",
    "ProductFile",
    "ReferenceTable",
    "RollFile",
    "RollerTable",
    "ScannerTable",
]


_LEAST_AIM_POINTS: Final = 5
_COLOURS: Final = (Record.RED, Record.GREEN, Record.BLUE)


class RollerTable(FileModel):
    """``[[rollers]]`` in plant.toml."""

    name: Name
    diameter: Millimetres
    tolerance: Millimetres = 0.0
    side: Literal["emulsion", "base", "both"] = "both"
    across_from: Millimetres | None = None
    across_to: Millimetres | None = None
    zone: str = ""

    @model_validator(mode="after")
    def _span_has_width(self) -> "RollerTable":
        if self.across_from is not None and self.across_to is not None and not self.across_from < self.across_to:
            raise ArgumentError(
                where=f"roller {self.name}",
                rule="across_to must lie beyond across_from",
                value=f"{self.across_from:g} mm to {self.across_to:g} mm",
                mend="Measure both from the datum edge.",
            )
        return self

    def build(self, stage: Stage | None = None) -> Roller:
        """The roller, at the stage of its zone."""
        return Roller(
            name=self.name,
            diameter_mm=self.diameter,
            tolerance_mm=self.tolerance,
            side=None if self.side == "both" else Side(self.side),
            across_from_mm=self.across_from,
            across_to_mm=self.across_to,
            zone=self.zone,
            stage=stage,
        )


class ScannerTable(FileModel):
    """``[[scanners]]`` in plant.toml."""

    name: Name
    wavelength_nm: Positive


class PlantFile(FileModel):
    """plant.toml."""

    name: Name
    web_width: PositiveMillimetres
    datum_edge: Name
    zones: tuple[ZoneTable, ...] = ()
    rollers: tuple[RollerTable, ...] = ()
    usual_days: Positive = USUAL_DAYS
    scanners: tuple[ScannerTable, ...] = ()
    notices: tuple[NoticeTable, ...] = ()
    shop_units: ShopUnits = ShopUnits.METRIC
    record: RecordAddress | None = None

    @model_validator(mode="after")
    def _names_once(self) -> "PlantFile":
        each_once("rollers", (roller.name for roller in self.rollers))
        check_zones(self.zones)
        for roller in self.rollers:
            stage_of(roller.name, roller.zone, self.zones)
        each_once("scanners", (scanner.name for scanner in self.scanners))
        each_once("notices", (notice.name for notice in self.notices))
        return self

    def build(self) -> Plant:
        """The plant."""
        return Plant(
            name=self.name,
            web_width_mm=self.web_width,
            datum_edge=self.datum_edge,
            rollers=tuple(roller.build(stage_of(roller.name, roller.zone, self.zones)) for roller in self.rollers),
            usual_days=self.usual_days,
            scanners={s.name: Scanner(name=s.name, wavelength_nm=s.wavelength_nm) for s in self.scanners},
            notices=tuple(notice.build() for notice in self.notices),
            shop_units=self.shop_units,
        )


class AimsTable(FileModel):
    """``[aims]`` and ``[reference.aims]`` in a product file: densities of each record at ascending log H."""

    tolerance_density: Positive
    log_h: tuple[Finite, ...]
    red: tuple[Finite, ...] | None = None
    green: tuple[Finite, ...] | None = None
    blue: tuple[Finite, ...] | None = None
    visual: tuple[Finite, ...] | None = None
    densities_at_log_h: tuple[Finite, ...] = ()
    shape_spread: tuple[Positive, Positive] = SHAPE_SPREAD

    @model_validator(mode="after")
    def _same_lengths(self) -> "AimsTable":
        if len(self.log_h) < _LEAST_AIM_POINTS or any(b <= a for a, b in itertools.pairwise(self.log_h)):
            raise ArgumentError(
                where="log_h",
                rule=f"at least {_LEAST_AIM_POINTS} values, each greater than the last",
                value=self.log_h,
                mend="Sort the table by log H; give the aim at as many exposures as the tablet has steps.",
            )
        curves = {r: getattr(self, r) for r in Record if getattr(self, r) is not None}
        if not curves:
            raise ArgumentError(
                where="aims", rule="at least one record", mend="Add red, green and blue, or visual densities."
            )
        for record, densities in curves.items():
            if len(densities) != len(self.log_h):
                raise ArgumentError(
                    where=record,
                    rule=f"as many densities as log_h has values ({len(self.log_h)})",
                    value=len(densities),
                    mend="Give one density for each log H.",
                )
        each_once("densities_at_log_h", map(str, self.densities_at_log_h))
        return self

    @property
    def in_colour(self) -> bool:
        """Whether there are aims for all three colour records."""
        return not any(getattr(self, record) is None for record in _COLOURS)

    def build(self, film_type: FilmType, dyes: FilmDyes | None = None) -> Aims:
        """The aim curves."""
        curves = {
            record: Curve(log_h=_array(self.log_h), density=_array(getattr(self, record)))
            for record in Record
            if getattr(self, record) is not None
        }
        return Aims(
            film_type=film_type,
            curves=curves,
            tolerance_density=self.tolerance_density,
            shape_spread=self.shape_spread,
            densities_at_log_h=self.densities_at_log_h,
            dyes=dyes,
        )


class ReferenceTable(FileModel):
    """``[reference]`` in a product file: the film that runs beside the check strips."""

    limit_density: Positive
    aims: AimsTable
    dyes: DyesTable | None = None


class ProductFile(FileModel):
    """products/<product>.toml."""

    film_type: FilmType
    sensitisation_nm: Annotated[tuple[tuple[Positive, Positive], ...], Field(min_length=1)]
    aims: AimsTable
    reference: ReferenceTable
    dyes: DyesTable | None = None
    criteria: Annotated[tuple[CriterionTable, ...], Field(min_length=1)]
    widths: Annotated[tuple[WidthTable, ...], Field(min_length=1)]
    cutting: CuttingTable = CuttingTable()
    grades: GradesTable | None = None
    costs: CostsTable | None = None
    properties: tuple[PropertyTable, ...] = ()
    winding: WindingTable | None = None

    @model_validator(mode="after")
    def _bands_and_names(self) -> "ProductFile":
        for low, high in self.sensitisation_nm:
            if not low < high:  # no wavelength lies in such a band: every scanner would be let through
                raise ArgumentError(
                    where="sensitisation_nm",
                    rule="each band runs from the shorter wavelength to the longer",
                    value=[low, high],
                    mend="Change the two places.",
                )
        each_once("criteria", (criterion.name for criterion in self.criteria))
        each_once("widths", (width.name for width in self.widths))
        each_once("properties", (measured.name for measured in self.properties))
        for criterion in self.criteria:
            criterion.check_subject({measured.name: measured.unit for measured in self.properties})
        for dyes, aims, where in (
            (self.dyes, self.aims, "dyes"),
            (self.reference.dyes, self.reference.aims, "reference.dyes"),
        ):
            if dyes is not None and not aims.in_colour:
                raise ArgumentError(
                    where=where,
                    rule="dyes go with aims in red, green and blue",
                    mend="Give the aims of all three records, or leave the dyes out.",
                )
        return self

    @property
    def spectra(self) -> tuple[str, ...]:
        """Names of the files of spectra beside it."""
        tables = (self.dyes, self.reference.dyes)
        return tuple(dict.fromkeys(table.spectra for table in tables if table is not None and table.spectra))

    def build(self, name: str, folder: Path) -> Product:
        """The product, whose files of spectra lie in the folder."""
        dyes = self.dyes.build(folder) if self.dyes else None
        reference_dyes = self.reference.dyes.build(folder) if self.reference.dyes else None
        if reference_dyes is None and self.reference.aims.in_colour:
            reference_dyes = dyes
        criteria = tuple(c.build(self.grades.scale if self.grades else ()) for c in self.criteria)
        widths, cut_rules = tuple(width.build() for width in self.widths), self.cutting.build(self.winding)
        check_runs(widths, cut_rules)
        return Product(
            name=name,
            film_type=self.film_type,
            sensitisation_nm=self.sensitisation_nm,
            aims=self.aims.build(self.film_type, dyes),
            reference_aims=self.reference.aims.build(self.film_type, reference_dyes),
            process_limit_density=self.reference.limit_density,
            criteria=criteria,
            widths=widths,
            cut_rules=cut_rules,
            grades=self.grades.build() if self.grades else None,
            costs=self.costs.build(criteria) if self.costs else None,
            properties=tuple(measured.build() for measured in self.properties),
            winding=self.winding.build() if self.winding else None,
        )


class BatchTable(FileModel):
    """``[[batches]]`` in roll.toml."""

    name: Name
    along_from: Metres
    along_to: Metres


class RollFile(FileModel):
    """rolls/<roll>/roll.toml."""

    product: Name
    length: Metres
    batches: Annotated[tuple[BatchTable, ...], Field(min_length=1)]
    splices: tuple[Metres, ...] = ()
    coated: Moment = ""
    slit_on: Day | None = None

    @model_validator(mode="after")
    def _batches_in_order(self) -> "RollFile":
        self._check_slit_after_coating()
        if self.length <= 0:
            raise ArgumentError(where="length", rule="must be greater than 0", value=self.length, mend="Measure it.")
        for splice in self.splices:
            if not 0.0 <= splice <= self.length:
                raise ArgumentError(
                    where="splices",
                    rule=f"must lie inside the roll (0 to {self.length:g} m)",
                    value=f"{splice:g} m",
                    mend="Measure it from the roll's head.",
                )
        end, before = 0.0, ""
        for batch in sorted(self.batches, key=lambda b: b.along_from):
            if not 0.0 <= batch.along_from < batch.along_to <= self.length:
                raise ArgumentError(
                    where=f"batch {batch.name}",
                    rule=f"must lie inside the roll (0 to {self.length:g} m) and end after it starts",
                    value=f"{batch.along_from:g} m to {batch.along_to:g} m",
                    mend="Correct along_from and along_to.",
                )
            if batch.along_from < end:
                raise ArgumentError(
                    where=f"batch {batch.name}",
                    rule=f"batches must not overlap; batch {before} ends at {end:g} m",
                    value=f"starts at {batch.along_from:g} m",
                    mend="Let the batch start where the one before ends.",
                )
            end, before = batch.along_to, batch.name
        return self

    def _check_slit_after_coating(self) -> None:
        day = self.coated[: len("2026-11-20")]
        if self.slit_on is not None and self.slit_on < day:
            raise ArgumentError(
                where="slit_on",
                rule=f"must not lie before the roll was coated ({day})",
                value=self.slit_on,
                mend="Correct one of the two days.",
            )

    def build(self, name: str) -> RollCard:
        """The roll."""
        batches = tuple(
            Batch(name=b.name, along_from_m=b.along_from, along_to_m=b.along_to)
            for b in sorted(self.batches, key=lambda b: b.along_from)
        )
        return RollCard(
            name=name,
            product=self.product,
            length_m=self.length,
            batches=batches,
            splices_m=self.splices,
            coated=self.coated,
            slit_on=self.slit_on or "",
        )


def _array(values: tuple[float, ...]) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    return np.asarray(values, dtype=np.float64)
