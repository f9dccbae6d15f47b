"""The files about money."""

from portal.calc.file_spec import Column, FileKind
from reports.calc.price_checks import check_prices

PRICES = FileKind(
    name="prices",
    title="Prices",
    help="One row per rule set, grade and band of widths (lower end included, upper end not).",
    columns=(
        Column(
            "rule_set",
            "code",
            required=True,
            refers_to="rule_sets",
            help="rule set",
            example="trial_appearance",
        ),
        Column("grade", "code", required=True, help="grade within the rule set", example="Clear"),
        Column(
            "price_per_m3",
            "number",
            required=True,
            unit="per m³",
            minimum=0,
            maximum=1_000_000,
            help="price of graded timber",
            example="520",
        ),
        Column(
            "min_width_mm",
            "number",
            unit="mm",
            minimum=0,
            maximum=2_000,
            help="smallest graded width, included; empty for any",
            example="100",
        ),
        Column(
            "max_width_mm",
            "number",
            unit="mm",
            above=0,
            maximum=2_000,
            help="end of the band of widths, not included; empty for any",
            example="150",
        ),
        Column(
            "min_thickness_mm",
            "number",
            unit="mm",
            minimum=0,
            maximum=400,
            help="smallest graded thickness; empty for any",
            example="20",
        ),
        Column("currency", "text", maximum=3, help="one currency for the list, three letters", example="EUR"),
    ),
    key=("rule_set", "grade", "min_width_mm", "max_width_mm", "min_thickness_mm"),
    check=check_prices,
)
