"""The cautions that stand where the work can hurt someone or a figure can be taken for more than it is.

The ids are fixed: pages, prints and exports refer to them. They are shown in full and cannot be dismissed.
"""

from types import MappingProxyType

CAUTIONS: MappingProxyType[str, str] = MappingProxyType(
    {
        "C1": (
            "Felling, limbing and crosscutting kill. Only trained and authorised people, with the site’s "
            "safety plan, two people on site, and local law in force. This list does not clear a tree for "
            "felling."
        ),
        "C2": (
            "Logs roll and spring under growth stress; saws, edgers and docking saws maim. Trained "
            "operators, guards, lock-out before clearing; no phone in the hand beside running machinery."
        ),
        "C3": (
            "Stacks fall, kilns scald and starve of oxygen, dust burns and harms lungs. Follow the yard’s "
            "rules."
        ),
        "C4": (
            "Specimens break with force and throw splinters. Test under a competent person with guards and "
            "eye protection."
        ),
        "C5": "Trial grade only. Not a certified, licensed or marked grade; not evidence of compliance.",
        "C6": (
            "Structural use needs grading by a licensed or certified body under the current standard, and "
            "design to the local building code by a qualified person. Characteristic values here describe "
            "this sample."
        ),
        "C7": (
            "Sapwood is not durable, in any species. Durability figures are for heartwood of the pieces "
            "tested, in the exposure tested."
        ),
        "C8": (
            "Test life of small stakes is not the life of a building part. Use and hazard class, detailing, "
            "climate and maintenance decide; follow the local durability rules."
        ),
        "C9": (
            "Treated wood and preservatives: follow label, safety data sheet and local law; wear protection; "
            "never burn offcuts or use them for food, animals or bedding. Treatment marks come from the "
            "licensed treater."
        ),
        "C10": (
            "Estimates from few trees on few sites, with the interval shown. Not advice to plant elsewhere; "
            "prices and rules are those named."
        ),
        "C11": "Fewer than 5 trees per clone: shown for information, not for ranking.",
        "C12": (
            "Limits entered from memory and not yet checked against the licensed standard: for development "
            "and demonstration."
        ),
        "C13": (
            "Check that boards are dry, sound and insect-free before transport; biosecurity rules may forbid "
            "moving bark, green wood or live material."
        ),
    }
)

FEWEST_TREES_FOR_RANKING = 5  # below this number of trees of a clone caution C11 stands beside its figures


def caution_text(caution_id: str) -> str:
    """Text of a caution.

    Raises:
        KeyError: for an id that is not on the list; a page must never lose its caution to a misspelling.
    """
    if caution_id not in CAUTIONS:
        raise KeyError(f"No caution {caution_id!r}. Known: {', '.join(CAUTIONS)}")
    return CAUTIONS[caution_id]
