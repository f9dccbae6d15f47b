"""Every write of the room: price lists."""

import pandas as pd
from django.db.models import Max

from grading.queries import grade_ids
from portal.models import Upload
from portal.uploads.bulk import copy_columns, json_notes
from portal.uploads.registry import Target
from reports.models import Price, PriceList


def insert_prices(target: Target, rows: pd.DataFrame, upload: Upload | None) -> int:
    """Store a price list as the trial's new current version; older versions stay. Caller holds the trial's lock."""
    lists = PriceList.objects.filter(trial=target.trial)
    version = (lists.aggregate(top=Max("version"))["top"] or 0) + 1
    lists.filter(current=True).update(current=False)
    currencies = rows["currency"].dropna().unique()
    price_list = PriceList.objects.create(
        trial=target.trial,
        version=version,
        upload=upload,
        currency=currencies[0] if len(currencies) else "",
    )
    ids = grade_ids()
    return copy_columns(
        Price,
        {
            "price_list_id": price_list.pk,
            "upload_id": upload and upload.pk,
            "grade_id": pd.Series(
                [ids[k][1] for k in zip(rows["rule_set"], rows["grade"], strict=True)],
                rows.index,
                dtype=object,
            ),
            "price_per_m3": rows["price_per_m3"],
            "min_width_mm": rows["min_width_mm"],
            "max_width_mm": rows["max_width_mm"],
            "min_thickness_mm": rows["min_thickness_mm"],
            "notes": json_notes(rows),
        },
        len(rows),
    )
