"""Which action a crew writes for which defect (trade words; common practice, no source)."""

from __future__ import annotations

from analytics.catalogue.model import Catalogue
from analytics.errors import CatalogueError
from data_demo.laws import LifeLaw
from data_demo.scenario import NOT_HOLDING

RENEWED, RESTORED, RESTORED_OTHERWISE, CHECKED = range(4)  # the outcomes of one defect

_BY_DEFECTS = {
    "tightened": "loose loose-connection bolts-loose clip-loose",
    "cleaned": "dirty blocked nozzle-blocked oil-carry-over depression-low stuck-in-holder",
    "filter-washed": "loaded-up",
    "contacts-dressed": "contacts-burnt contacts-pitted tips-welded contact-area-low",
    "commutator-turned": "grooved out-of-round",
    "adjusted": (
        "out-of-adjustment valve-clearance-wrong belt-slack hunting stroke-too-long reads-wrong "
        "trips-wrongly overcharging pressure-low not-holding surging"
    ),
    "freed": "seized stiff stuck sluggish not-throwing-over not-lifting",
    "lubricated": "dry noisy",
    "topped-up": "oil-low water-low electrolyte-low sand-low fuel-low inhibitor-low",
    "bled": "water-in-fuel",
    "dried-out": "insulation-low frozen",
    "recharged": "discharged empty",
    "supplied": "missing incomplete cap-missing seal-missing",
    "repaired": "leaking air-leak oil-leak earth-fault cracked broken torn not-operating chafed",
}
_RESTORE_OF = {
    defect: action for action, defects in _BY_DEFECTS.items() for defect in defects.split()
}
_CHECKED_OF = {"earth-fault": "relay-reset", "noisy": "no-fault-found", "worn": "checked"}
_RENEW_OF = {"lubricating-oil": "oil-changed"}


def outcome_actions(catalogue: Catalogue, component: str, defect: str, law: LifeLaw) -> list[str]:
    """Return the actions of the four outcomes: renewed, restored, restored otherwise, checked.

    A name that the catalogue does not have is replaced by its first action of the same effect.
    """
    renew = _RENEW_OF.get(component, "overhauled-unit-fitted" if law.unit else "replaced")
    restore = _RESTORE_OF.get(defect, "made-good")
    if component == NOT_HOLDING.component:
        restore = NOT_HOLDING.action
    wanted = {
        RENEWED: (renew, "renew"),
        RESTORED: (restore, "restore"),
        RESTORED_OTHERWISE: ("made-good" if restore == "repaired" else "repaired", "restore"),
        CHECKED: (_CHECKED_OF.get(defect, "no-fault-found"), "checked"),
    }
    return [known_action(catalogue, name, effect) for name, effect in wanted.values()]


def deferring_actions(catalogue: Catalogue) -> list[str]:
    """Return the actions that leave a finding open."""
    return [name for name, action in catalogue.actions.items() if action.effect == "defer"]


def known_action(catalogue: Catalogue, name: str, effect: str) -> str:
    """Return `name` where the catalogue has it with that effect, else its first of the effect."""
    action = catalogue.actions.get(name)
    if action is not None and action.effect == effect:
        return name
    for other in catalogue.actions.values():
        if other.effect == effect:
            return other.name
    raise CatalogueError(f"the demo needs an action with effect {effect!r}; there is none.")
