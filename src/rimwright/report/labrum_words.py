"""The labrum map in words: short for the drawing, whole for tables and alternative texts."""

from __future__ import annotations

from rimwright.anatomy import LabrumMap, LabrumSector, Tear
from rimwright.report.wording import number


def short_words(found: LabrumSector) -> str:
    """What the drawing cannot show: width with its modality, tissue, seal."""
    parts = [width_words(found)]
    if found.tissue is not None:
        parts.append(found.tissue.value)
    if found.seals is not None:
        parts.append("seals" if found.seals else "no seal")
    return ", ".join(parts)


def whole_words(found: LabrumSector) -> str:
    """Everything known of a sector; what is unknown is left to `unknown_words`."""
    parts = [width_words(found)]
    if found.thickness_mm is not None:
        parts.append(f"{number(found.thickness_mm, 'mm')} thick")
    if found.tissue is not None:
        parts.append(f"tissue {found.tissue.value}")
    if found.attachment is not None:
        parts.append(found.attachment.value)
    if found.fibres is not None:
        parts.append(f"fibres {found.fibres.value}")
    if found.seals is not None:
        parts.append("seals" if found.seals else "does not seal")
    if found.tear is not None:
        kind = f", {found.tear_type}" if found.tear_type else ""
        parts.append("no tear" if found.tear is Tear.NONE else f"{found.tear.value} tear{kind}")
    if found.calcified is not None:
        parts.append("calcified" if found.calcified else "not calcified")
    if found.prior_suture is not None:
        parts.append("sutured before" if found.prior_suture else "not sutured before")
    if found.cartilage_grade is not None:
        scale = found.cartilage_scale or "scale not given"
        parts.append(f"cartilage beside it grade {found.cartilage_grade} ({scale})")
    return ", ".join(parts)


def unknown_words(found: LabrumSector) -> str:
    """Which findings of a sector are not known."""
    fields = {
        "width": found.width_mm,
        "tissue": found.tissue,
        "attachment": found.attachment,
        "fibres": found.fibres,
        "seal": found.seals,
        "tear": found.tear,
        "calcification": found.calcified,
        "earlier suture": found.prior_suture,
        "cartilage": found.cartilage_grade,
        "how it was seen": found.seen_by,
    }
    return ", ".join(name for name, value in fields.items() if value is None)


def describe_map(labrum: LabrumMap) -> str:
    """The map as sentences, for those who do not see the drawing."""
    known = [f"{item.sector}: {whole_words(item)}." for item in labrum.sectors]
    unknown = [f"{sector}: nothing known." for sector in labrum.unknown_sectors()]
    return " ".join(known + unknown)


def width_words(found: LabrumSector) -> str:
    """Width with the modality it was read by."""
    if found.width_mm is None:
        return "width not known"
    seen = f" ({found.seen_by.value})" if found.seen_by else " (modality not stated)"
    return number(found.width_mm, "mm") + seen
