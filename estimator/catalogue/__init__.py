"""The tables: reads `data/` or a shop's own copies, checks them, hands out typed rows."""

from estimator.catalogue.load import Catalogue, data_folder, load, read_table
from estimator.catalogue.rows import (
    CONDITIONS,
    LEVELS,
    TABLES,
    Assembly,
    Basis,
    Caution,
    Certainty,
    Condition,
    Count,
    Era,
    EraRow,
    Find,
    Finish,
    Grit,
    Level,
    LevelRow,
    Mark,
    Material,
    Offer,
    Operation,
    Part,
    Rate,
    Row,
    ScopeNote,
    Service,
    Supplier,
    ThreePoint,
    Treatment,
)

__all__ = [
    "CONDITIONS", "LEVELS", "TABLES", "Assembly", "Basis", "Catalogue", "Caution", "Certainty",
    "Condition", "Count", "Era", "EraRow", "Find", "Finish", "Grit", "Level", "LevelRow", "Mark",
    "Material", "Offer", "Operation", "Part", "Rate", "Row", "ScopeNote", "Service", "Supplier",
    "ThreePoint", "Treatment", "data_folder", "load", "read_table",
]
