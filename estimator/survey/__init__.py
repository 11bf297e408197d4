"""The survey: what was found on a machine, read from a spreadsheet and written to one.

The file
--------
CSV or XLSX, one row for each assembly in each condition::

    machine,title,Marmalade Observatory
    machine,era,dot-matrix

    assembly,count,condition,certainty,length_mm,area_cm2,note
    flipper,2,worn,seen,,,left one sticks
    ball-guide,9,heavy,seen,410,,"rust, mostly below the lane"

Rows that begin with `machine` stand above the header, each with one fact: title, maker, year,
era, serial, customer, customer_kind, surveyor, surveyed (the day), note. All may be blank; a
quote needs the era, one of electromechanical, early-solid-state, late-solid-state, dot-matrix,
2000s, modern. The kind of customer is a word of your own, such as private owner, operator or
dealer: the review holds jobs of each kind apart.

========== ======================================================================== ==========
column     what it holds                                                            in a quote
========== ======================================================================== ==========
assembly   a name in assemblies.csv, or how it is written for people, in the        always
           singular or the plural
count      pieces, 0 to 9999                                                        needed
condition  fresh, light, worn, heavy, failed or missing                             needed
certainty  seen, assumed or hidden                                                  needed
length_mm  of one piece, over 0 up to 100,000 mm; blank takes the usual figure      may lack
area_cm2   of one piece, over 0 up to 1,000,000 cm²; blank takes the usual figure   may lack
note       any words, up to 2,000 characters                                        may lack
========== ======================================================================== ==========

The first four columns must be there, in any order; a draft may leave their cells blank, the
assembly's excepted. Other columns are refused. Case, blanks, hyphens, underscores and brackets
do not count in headers and names. Rows without any words are skipped. Two rows that differ in
nothing but the count are refused: add them together, or tell them apart in the note.

CSV: cells parted by comma, semicolon or tab; UTF-8 with or without its mark, UTF-16 with its
mark, else Windows-1252. Decimals have a point or a comma and no thousands mark: what can be
read two ways, as 1,200 or 1.234,5, is refused. Text that begins with = + - @ or a tab is written
with one single quote in front (one more where it begins with quotes and then one of these), so
that a spreadsheet does not take it for a formula; reading takes that quote off again.

XLSX: the lines in the sheet "survey", or else in the first sheet that has the header; the facts
in a sheet "machine", name in the first column and value in the second, or above the header as in
CSV. Cells hold values: formulas are refused. Sizes are kept to 15 digits.

Blanks around a text are dropped and its line ends become plain ones; else every text comes back
as it was; characters that cannot be printed, and hidden ones that turn the order of a text, are
refused. At most 8 MB (64 MB unpacked, 200 sheets), 5,000 rows, 200 faults told at once. What kind
of file it is shows in its content, not in its name.
"""

from estimator.survey.matching import differences, merged
from estimator.survey.parsing import COLUMNS, FACTS
from estimator.survey.reading import check, read, read_bytes
from estimator.survey.records import Line, Machine, Survey
from estimator.survey.templates import template
from estimator.survey.writing import csv_bytes, write, xlsx_bytes

__all__ = [
    "COLUMNS", "FACTS", "Line", "Machine", "Survey", "check", "csv_bytes", "differences", "merged",
    "read", "read_bytes", "template", "write", "xlsx_bytes",
]
