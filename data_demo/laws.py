"""How long every component lasts: the known truth of the invented railway.

One position is drawn after Brown and Proschan (1983), "Imperfect repair", Journal of Applied
Probability 20, 851-859: defects come with an intensity that depends on the age since the last
renewal; each is closed by a renewal with a fixed chance `renew` (age starts at 0), else the age
goes on. If lives until renewal have cumulative hazard H, defects have cumulative intensity
H / renew. So both questions of a reliability engineer have a known answer: life until renewal, and
chance of a defect by age.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace

from analytics.catalogue.model import Catalogue, Component

WINTER, SUMMER = 1, -1


@dataclass(frozen=True, slots=True)
class LifeLaw:
    """The law of one component in one class; ages and `scale` in units of `clock`.

    `shape` and `scale` are Weibull, of the life until renewal: S(t) = exp(-(t / scale)**shape).
    With `renew` 0 nothing is ever renewed and `scale` is the mean clock between defects (shape 1).
    `checked` is the chance that nothing is done; `in_service` the chance that a defect shows on
    the road; `season` the amplitude of the yearly swing of the intensity (positive: peak in
    January, negative: in July); `renewed_at` the age at which it is renewed by plan.
    """

    clock: str
    shape: float
    scale: float
    renew: float
    checked: float = 0.04
    in_service: float = 0.04
    season: float = 0.0
    renewed_at: float | None = None
    serials: bool = False
    unit: bool = False

    @property
    def life_mean(self) -> float | None:
        """Mean life until renewal for failure, without renewals by plan (None: never renewed)."""
        return self.scale * math.gamma(1 + 1 / self.shape) if self.renew else None

    @property
    def mtbf(self) -> float:
        """Clock per defect in the long run, without renewals by plan, repeats and spread."""
        return self.renew * self.life_mean if self.life_mean else self.scale


# component: clock, shape, scale, renew, and what differs from the usual
_KNOWN = {
    "fuel-injector": LifeLaw("hours", 2.0, 14_000, 0.6, in_service=0.06, serials=True),
    "injector-pipe": LifeLaw("hours", 1.3, 45_000, 0.5, in_service=0.08),
    "fuel-fine-filter": LifeLaw("hours", 1.2, 14_000, 0.5),
    "crankcase-ventilation": LifeLaw("hours", 1.1, 13_000, 0.15),
    "earth-fault-relay": LifeLaw("hours", 1.0, 26_000, 0.1, checked=0.6, in_service=0.2),
    "electromagnetic-contactor": LifeLaw("hours", 1.5, 26_000, 0.4),
    "lubricating-oil": LifeLaw("hours", 1.0, 20_000, 0.025, checked=0.01, renewed_at=3_000),
    "cooling-water": LifeLaw("hours", 1.0, 30_000, 0.03, checked=0.01),
    "turbocharger": LifeLaw("hours", 1.8, 17_000, 0.5, serials=True, unit=True, in_service=0.1),
    "governor": LifeLaw("hours", 1.3, 16_000, 0.3, serials=True, unit=True, in_service=0.1),
    "air-compressor": LifeLaw("hours", 1.4, 14_000, 0.35, serials=True, unit=True),
    "auxiliary-generator": LifeLaw("hours", 1.5, 15_000, 0.4, serials=True, unit=True),
    "main-generator-brush": LifeLaw("hours", 3.0, 10_000, 0.9, renewed_at=11_500),
    "traction-motor-brush": LifeLaw("km", 3.2, 150_000, 0.9, renewed_at=175_000),
    "traction-motor-brush-holder": LifeLaw("km", 1.3, 230_000, 0.5),
    "traction-motor-commutator": LifeLaw("km", 1.6, 600_000, 0.25, in_service=0.06),
    "traction-motor-bearing": LifeLaw("km", 2.5, 520_000, 1.0, checked=0.0, serials=True),
    "traction-motor-winding": LifeLaw("km", 1.2, 500_000, 0.5, checked=0.3, in_service=0.2),
    "brake-block": LifeLaw("km", 3.0, 95_000, 0.95, checked=0.01, in_service=0.0),
    "cooling-hose": LifeLaw("days", 2.4, 1_500, 0.8, season=0.5, renewed_at=1_460),
    "shutter-linkage": LifeLaw("hours", 1.1, 15_000, 0.15, season=0.8),
    "radiator-shutter": LifeLaw("hours", 1.2, 16_000, 0.25, season=0.7),
    "cooling-fan": LifeLaw("hours", 1.4, 14_000, 0.35, season=-0.7),
    "hydrostatic-drive": LifeLaw("hours", 1.3, 16_000, 0.3, season=-0.5, unit=True),
    "main-reservoir-drain": LifeLaw("days", 1.1, 2_200, 0.2, season=0.8),
    "sanding-gear": LifeLaw("days", 1.0, 2_200, 0.1, checked=0.02, season=0.7),
    "battery": LifeLaw("days", 2.0, 1_300, 0.3, season=0.6, in_service=0.08),
    "headlight": LifeLaw("days", 1.0, 500, 0.85, checked=0.01, season=0.4),
    "marker-light": LifeLaw("days", 1.0, 800, 0.85, checked=0.01, season=0.4),
    "fuel-level": LifeLaw("days", 1.0, 130, 0.0, checked=0.0, in_service=0.0),
    "inspection-sheet": LifeLaw("days", 1.0, 110, 0.0, checked=0.0, in_service=0.0),
    "engine-hour-counter": LifeLaw("days", 1.3, 2_600, 0.7, in_service=0.0),
    "tool-kit": LifeLaw("days", 1.0, 260, 0.0, checked=0.0, in_service=0.0),
}
# clock: least and greatest mean clock between defects of a component that is not listed above
_USUAL_MTBF = {"hours": (9_000, 24_000), "km": (180_000, 500_000), "days": (500, 1_500)}
_CARRIED = ("tools and spares", "sign-off and fuelling")


def law_of(catalogue: Catalogue, component: str, class_name: str) -> LifeLaw:
    """Return the known truth of one component in one class.

    Components not listed here get a law by clock and system, drawn from the digest of their name,
    so that every component of any catalogue has one. The scale differs between the classes by up
    to a fifth. Where the catalogue gives a listed component another clock, its usual law is drawn.
    """
    entry = catalogue.components[component]
    law = _KNOWN.get(component)
    if law is None or law.clock != entry.clock:
        law = _usual(entry)
    factor = 0.85 + 0.35 * drawn(f"{component}/{class_name}")
    renewed_at = None if law.renewed_at is None else round(law.renewed_at * factor)
    return replace(law, scale=float(f"{law.scale * factor:.3g}"), renewed_at=renewed_at)


def drawn(text: str) -> float:
    """Return a number in [0, 1) that depends on the text alone."""
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:6]) / 2**48


def _usual(entry: Component) -> LifeLaw:
    least, greatest = _USUAL_MTBF[entry.clock]
    mtbf = least * (greatest / least) ** drawn(f"mtbf {entry.name}")
    if entry.system in _CARRIED:  # lost or used up, not worn
        return LifeLaw(entry.clock, 1.0, 0.5 * mtbf, 0.5, checked=0.02, in_service=0.0)
    shape = round(0.9 + 1.4 * drawn(f"shape {entry.name}"), 1)
    renew = round(0.25 + 0.5 * drawn(f"renew {entry.name}"), 2)
    scale = mtbf / renew / math.gamma(1 + 1 / shape)
    return LifeLaw(entry.clock, shape, scale, renew)
