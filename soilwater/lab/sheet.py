"""Reading lab sheets as they come: any separator, decimal sign, unit and basis, and no guessing.

What the sheet leaves open stops the reading with a sentence that says what the numbers look like
and which argument settles it. Every fault of the sheet is in one message, with its line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet_arrangement import arranged
from soilwater.lab.sheet_layout import FACTS
from soilwater.lab.sheet_reading import Reading
from soilwater.lab.sheet_units import stated_water_unit
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Conductivity, Density, Length, WaterContent
from soilwater.words.renamed import mind_words
from soilwater.words.set_right import Columns, Missing, as_codes, columns_at, without_missing
from soilwater.words.text_tables import read_text_tables

MOST_CELLS = 50_000
"""Largest workbook that is looked at for a lab sheet [cells]."""

COLUMNS = ("suction", "water_content", "sample", "replicate")
"""What columns of a lab sheet hold besides facts."""


@mind_words()
def read_retention(
    source: Any,
    *,
    sample: str | None = None,
    suction_unit: str | None = None,
    water_content_unit: str | None = None,
    bulk_density: Density | None = None,
    particle_density: Density | None = None,
    porosity: WaterContent | None = None,
    k_sat: Conductivity | None = None,
    lab_error: WaterContent | None = None,
    core_height: Length | None = None,
    suction_level: str | None = None,
    columns: Columns | None = None,
    missing: Missing = (),
    sheet: str | None = None,
) -> RetentionTable:
    """Read the retention table of one sample from a lab sheet.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, or a table in memory.
    sample : str, optional
        Which sample, where the sheet has several.
    suction_unit : str, optional
        Unit of the suctions where the sheet has none, e.g. ``"kPa"``, ``"cm"``, ``"in"``,
        ``"log10 cm"``; it goes before what the sheet says.
    water_content_unit : str, optional
        Scale and basis of the water contents where the sheet leaves them open, e.g.
        ``"% by volume"``, ``"fraction by mass"``, ``"% of saturation"``; it goes before what the
        sheet says.
    bulk_density, particle_density : float or str, optional
        Densities [g/cm3], before those of the sheet.
    porosity : float or str, optional
        Total porosity [1], before that of the sheet.
    k_sat : float or str, optional
        Saturated conductivity [cm/h], before that of the sheet.
    lab_error : float or str, optional
        Standard deviation of one measured water content [1], before that of the sheet.
    core_height : float or str, optional
        Height of the cores [cm], before that of the sheet.
    suction_level : {"base", "middle", "top"}, optional
        Level of the core to which suctions refer, before that of the sheet.
    columns : mapping of str to str or sequence of str, optional
        Headers by what their columns hold, where the usual headers do not do: ``"suction"``,
        ``"water_content"`` (one or several), ``"sample"``, ``"replicate"``, or a fact such as
        ``"bulk_density"``.
    missing : float, str or sequence of either, optional
        Texts of cells, or codes, that mean "nothing measured", besides blanks and -999. A bound
        such as "<2" is no value and is left out by itself, with a note.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    RetentionTable

    Raises
    ------
    InputError
        If anything on the sheet is missing, ambiguous or impossible; all faults at once. Also if
        there are several samples and none is named.

    Examples
    --------
    >>> sheet = {"suction": [1, 2, 3, 4], "vwc (%)": [37.8, 28.4, 19.4, 14.0]}
    >>> read_retention(sheet)
    Traceback (most recent call last):
    ...
    soilwater.words.errors.InputError: Lab sheet table: suction has no unit: the numbers 1 to 4 \
look like kPa (or in?): 1 kPa = 10.2 cm. Using kPa gives a curve from 10 to 41 cm; confirm with \
suction_unit="kPa".
    >>> read_retention(sheet, suction_unit="kPa").suction.round(1)
    array([10.2, 20.4, 30.6, 40.8])
    """
    tables = read_retention_samples(
        source,
        suction_unit=suction_unit,
        water_content_unit=water_content_unit,
        bulk_density=bulk_density,
        particle_density=particle_density,
        porosity=porosity,
        k_sat=k_sat,
        lab_error=lab_error,
        core_height=core_height,
        suction_level=suction_level,
        columns=columns,
        missing=missing,
        sheet=sheet,
        samples=None if sample is None else (sample,),
    )
    if len(tables) > 1:
        names = ", ".join(f'"{name}"' for name in tables)
        raise InputError(
            f"The sheet has {len(tables)} samples: {names}; name one with sample=..., or read all "
            "with read_retention_samples."
        )
    return next(iter(tables.values()))


@mind_words()
def read_retention_samples(
    source: Any,
    *,
    samples: Sequence[str] | None = None,
    suction_unit: str | None = None,
    water_content_unit: str | None = None,
    bulk_density: Density | None = None,
    particle_density: Density | None = None,
    porosity: WaterContent | None = None,
    k_sat: Conductivity | None = None,
    lab_error: WaterContent | None = None,
    core_height: Length | None = None,
    suction_level: str | None = None,
    columns: Columns | None = None,
    missing: Missing = (),
    sheet: str | None = None,
) -> dict[str, RetentionTable]:
    """Read the retention tables of all samples of a lab sheet.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, or a table in memory.
    samples : sequence of str, optional
        Which samples; all by default.
    suction_unit, water_content_unit : str, optional
        As in `read_retention`.
    bulk_density, particle_density : float or str, optional
        Densities [g/cm3] of every sample, before those of the sheet.
    porosity : float or str, optional
        Total porosity [1] of every sample, before that of the sheet.
    k_sat : float or str, optional
        Saturated conductivity [cm/h] of every sample, before that of the sheet.
    lab_error : float or str, optional
        Standard deviation of one measured water content [1], before that of the sheet.
    core_height : float or str, optional
        Height of the cores [cm], before that of the sheet.
    suction_level : {"base", "middle", "top"}, optional
        Level of the core to which suctions refer, before that of the sheet.
    columns, missing : optional
        As in `read_retention`.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    dict of str to RetentionTable
        In the order of the sheet; a sheet that names no sample has one, called ``""``.

    Raises
    ------
    InputError
        If anything on the sheet is missing, ambiguous or impossible; all faults at once.
    """
    read = read_text_tables(source, sheet=sheet, most_cells=MOST_CELLS)
    faults = Faults(f"Lab sheet {read[0].source}".strip())
    if water_content_unit is not None:
        with faults.catching():
            stated_water_unit(water_content_unit)
    stated = {
        "bulk_density": bulk_density,
        "particle_density": particle_density,
        "porosity": porosity,
        "k_sat": k_sat,
        "lab_error": lab_error,
        "core_height": core_height,
    }
    reading = Reading(read[0].source, faults, water_content_unit, as_codes(missing))
    for name, value in stated.items():
        if value is not None:
            reading.facts.state(name, value)
    if suction_level is not None:
        reading.facts.state_level(suction_level)
    tables = [without_missing(text, missing) for text in read]
    # A column that was named is where it stands, and nothing is turned.
    tables = tables if columns else arranged(tables)
    for text in tables:
        named = columns_at(text, columns or {}, (*COLUMNS, *FACTS), faults)
        reading.take(text, len(tables) == 1, named)
    names = list(dict.fromkeys(point.sample for point in reading.points))
    if samples is not None:
        wanted = [str(name) for name in samples]
        for name in wanted:
            if name not in names:
                known = ", ".join(f'"{each}"' for each in names)
                faults.add(f'no sample "{name}" on the sheet', allowed=known)
        names = [name for name in names if name in wanted]
    made = reading.tables(names, suction_unit)
    faults.raise_if_any()
    return made
