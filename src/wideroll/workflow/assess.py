"""One roll, from its files to a verdict and a cut plan, doing only what is stale."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from wideroll import __version__
from wideroll.errors import ArgumentError
from wideroll.examination import Sheet, SheetLook, Sighting, SightingLog
from wideroll.release import Decision, decide
from wideroll.repeats import SeriesSearch
from wideroll.roll import Extent
from wideroll.scan import ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.workflow.cutting import CutRequest, cut_request, plan_from, splices_of
from wideroll.workflow.detected import detected_classes
from wideroll.workflow.detection import measure_detection
from wideroll.workflow.expected_costs import cost_roll
from wideroll.workflow.gather import RoomResults, gather_evidence
from wideroll.workflow.known_rates import rate_of
from wideroll.workflow.model import Assessment, Examination, Plant, Product, RollCard, StripRoom
from wideroll.workflow.naming import name_series
from wideroll.workflow.ports import OtherScans, PlantFiles, Progress, Raster, Results
from wideroll.workflow.property_model import Measurement
from wideroll.workflow.scanning import ScanRunner, check_length, check_width, fit_to_roll, scan_web, tell_origins
from wideroll.workflow.sightings import measure_photographs
from wideroll.workflow.strip_room import judge_strips
from wideroll.workflow.take_in import examine_sheets, search_repeats, whole_web

__all__ = ["RollDesk", "assess_roll", "check_widths", "open_roll"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollDesk:
    """A roll taken in hand: what it is, and where its evidence comes from and goes to."""

    plant: Plant
    product: Product
    card: RollCard
    whole: Extent
    files: PlantFiles
    results: Results
    fingerprints: Mapping[str, str]
    """Of the inputs of ``scan`` and of ``repeats``."""
    progress: Progress
    others: OtherScans | None = None
    """Other rolls' scans, to tell the scanner's own streaks by."""

    def raster(self) -> Raster | None:
        """What the scanner wrote; None where the roll wasn't scanned."""
        raster = self.files.raster(self.card.name, self.plant, self.product)
        if raster is not None:
            check_length(raster, self.whole, roll=self.card.name)
        return raster

    def scan(self, run: ScanRunner | None = None) -> ScanResult | None:
        """The scan's result, computed only when stale, and by ``run`` if given; None where the roll wasn't scanned."""
        raster = self.raster()
        if raster is None:
            return None
        mark = self.fingerprints["scan"]
        kept = self.results.load_scan(mark)
        if kept is None:
            kept = scan_web(raster, progress=self.progress, overview=self.results.overview(mark), run=run)
            self.results.save_scan(kept, mark)
        return self._placed(kept)

    def scan_again(self, chips_of: Collection[str]) -> ScanResult | None:
        """The same scan with crops of these marks too; it isn't kept."""
        raster = self.raster()
        return None if raster is None else self._placed(scan_web(raster, progress=self.progress, chips_of=chips_of))

    def _placed(self, scan: ScanResult) -> ScanResult:
        check_width(scan, self.whole, roll=self.card.name)
        return tell_origins(fit_to_roll(scan, self.whole), self.others)

    def detection(self) -> DetectionResult | None:
        """How likely the scan finds a mark, where it was measured on this very scan."""
        return self.results.load_detection(self.fingerprints["scan"])

    def measure_detection(self) -> DetectionResult | None:
        """The same, measured now where it wasn't; None where the roll wasn't scanned."""
        kept, raster = self.detection(), self.raster()
        if kept is not None or raster is None:
            return kept
        measured = measure_detection(raster, progress=self.progress)
        self.results.save_detection(measured, self.fingerprints["scan"])
        return measured

    def strips(self) -> StripRoom:
        """The strips, judged and measured."""
        roll = self.card.name
        return judge_strips(self.files.strips(roll), self.product, self.files.process_log(roll))

    def properties(self) -> tuple[Measurement, ...]:
        """What was measured of the product's properties."""
        return self.files.properties(self.card.name, self.product, self.whole)

    def sheets(self) -> tuple[tuple[Sheet, ...], tuple[Sighting, ...]]:
        """The sample sheets, and what was seen on them."""
        sheets = self.files.sheets(self.card.name, self.whole)
        return sheets, self.files.sightings(self.card.name, sheets)

    def looks(self) -> tuple[SheetLook, ...]:
        """Further looks at the sheets."""
        return self.files.looks(self.card.name, self.files.sheets(self.card.name, self.whole))

    def sighting_log(self) -> SightingLog:
        """The sightings line after line, with what was taken back."""
        return self.files.sighting_log(self.card.name, self.files.sheets(self.card.name, self.whole))

    def examination(self, seen: tuple[tuple[Sheet, ...], tuple[Sighting, ...]], scan: ScanResult | None) -> Examination:
        """What the sheets say, held against the scan."""
        sheets, sightings = seen
        found = measure_photographs(sightings, lambda name: self.files.photograph(self.card.name, name))
        return examine_sheets(
            sheets,
            sightings,
            scan,
            looks=self.files.looks(self.card.name, sheets),
            product=self.product,
            photographs=found,
            reliability=self.files.examiners(),
        )

    def repeats(self, scan: ScanResult | None) -> SeriesSearch:
        """The series among the marks, searched only when stale."""
        if scan is None:
            return search_repeats(None, self.plant.rollers, self.card.length_m)
        kept = self.results.load_series(self.fingerprints["repeats"])
        if kept is None:
            kept = search_repeats(scan, self.plant.rollers, self.card.length_m, winding=self.product.winding)
            self.results.save_series(kept, self.fingerprints["repeats"])
        return kept

    def named_repeats(self, scan: ScanResult | None, examination: Examination) -> SeriesSearch:
        """The same, with the rollers weighed by what was seen of the marks on sheets and by cleanings."""
        return name_series(self.repeats(scan), scan, examination, self.plant, self.card)

    def read_all(self) -> None:
        """Read every table of the roll and the head of its raster, so that a fault in them shows before work begins.

        Raises:
            InputError: naming the file, and line or field.
        """
        roll = self.card.name
        self.files.strips(roll)
        self.files.process_log(roll)
        self.properties()
        sheets, _ = self.sheets()
        self.files.looks(roll, sheets)
        self.files.examiners()
        self.raster()

    def cut_request(self, decision: Decision) -> CutRequest | None:
        """What the slitter is asked for after a decision on the roll, new or kept; None where it is rejected."""
        scan = self.scan()
        return cut_request(decision, self.whole, self.product, scan, splices_m=splices_of(self.card, scan))


def open_roll(
    card: RollCard,
    *,
    plant: Plant,
    product: Product,
    files: PlantFiles,
    results: Results,
    fingerprints: Mapping[str, str],
    progress: Progress,
    others: OtherScans | None = None,
) -> RollDesk:
    """Take a roll in hand, once it is known what it is."""
    return RollDesk(
        plant=plant,
        product=product,
        card=card,
        whole=whole_web(card.length_m, plant.web_width_mm),
        files=files,
        results=results,
        fingerprints=fingerprints,
        progress=progress,
        others=others,
    )


def check_widths(product: Product, plant: Plant) -> None:
    """Refuse a product that can't be slit from the plant's web.

    Raises:
        ArgumentError: naming the width that is as wide as the web or wider, or the edge trim that leaves none room.
    """
    for width in product.widths:
        if width.width_mm >= plant.web_width_mm:
            raise ArgumentError(
                where=f"width {width.name}",
                rule=f"must be less than the web, {plant.web_width_mm:g} mm",
                value=f"{width.width_mm:g} mm",
                mend="Check its unit.",
            )
    trim_mm, narrowest_mm = product.cut_rules.edge_trim_mm, min(width.width_mm for width in product.widths)
    if narrowest_mm + 2.0 * trim_mm > plant.web_width_mm:
        raise ArgumentError(
            where="field cutting.edge_trim",
            rule=f"twice it must leave the narrowest width ({narrowest_mm:g} mm) of the web, {plant.web_width_mm:g} mm",
            value=f"{trim_mm:g} mm",
            mend="Check its unit, and the units of the widths.",
        )


def assess_roll(desk: RollDesk) -> Assessment:
    """All evidence of the roll, the decision it leads to, and the cut that follows."""
    strip_room = desk.strips()
    seen = desk.sheets()  # read before the long scan, so that a fault in them shows first
    measurements = desk.properties()
    scan = desk.scan()
    detection = desk.detection() if scan else None
    examination = desk.examination(seen, scan)
    repeats = desk.named_repeats(scan, examination)
    found = RoomResults(
        scan=scan,
        strip_room=strip_room,
        examination=examination,
        repeats=repeats,
        detection=detection,
        measurements=measurements,
    )
    evidence = gather_evidence(card=desk.card, whole=desk.whole, found=found, product=desk.product)
    decision = decide(evidence, desk.product.criteria, rate_of=rate_of)
    return Assessment(
        plant=desk.plant,
        product=desk.product,
        card=desk.card,
        whole=desk.whole,
        scan=scan,
        strip_room=strip_room,
        examination=examination,
        repeats=repeats,
        evidence=evidence,
        decision=decision,
        plan=plan_from(decision, desk.whole, desk.product, scan, splices_m=splices_of(desk.card, scan)),
        version=__version__,
        detected=detected_classes(desk.product.criteria, detection),
        costs=cost_roll(decision, evidence, desk.product.costs, examination.sheets),
        measurements=measurements,
    )
