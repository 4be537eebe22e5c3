"""Strategies for case documents: sound ones, slightly wrong ones, and anything at all."""

from __future__ import annotations

from hypothesis import strategies as st

from rimwright.casework.case_model import (
    CaseModel,
    EquipmentModel,
    LabrumSectorModel,
    LandmarksModel,
    OldAnchorModel,
    PatientModel,
    SettingsModel,
    SourcesModel,
)

KNOWN_KEYS = tuple(CaseModel.model_fields) + tuple(
    key
    for part in (
        PatientModel,
        SourcesModel,
        LabrumSectorModel,
        OldAnchorModel,
        EquipmentModel,
        SettingsModel,
        LandmarksModel,
    )
    for key in part.model_fields
)

scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.integers(min_value=10**300, max_value=10**320),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(max_size=20),
    st.dates(),
    st.sampled_from(["left", "right", "probe", "augmentation", "rimwright.case/1", "", "../x"]),
)
keys = st.one_of(st.sampled_from(KNOWN_KEYS), st.text(max_size=12))
anything = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(keys, inner, max_size=4)),
    max_leaves=12,
)
"""What a TOML or JSON parser may hand over at any place."""

heads = st.fixed_dictionaries(
    {"schema": st.just("rimwright.case/1"), "id": st.just("x"), "side": st.just("left")}
)
hostile_cases = st.builds(
    lambda head, rest: {**head, **rest}, heads, st.dictionaries(keys, anything, max_size=6)
)
"""A good head, then anything."""
