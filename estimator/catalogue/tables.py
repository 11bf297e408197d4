"""All tables, in the order in which they are read and shown."""

from __future__ import annotations

from estimator.catalogue import bench, rows, sales, supplies

TABLES: tuple[type[rows.Row], ...] = (
    rows.EraRow,
    rows.LevelRow,
    rows.Assembly,
    rows.Count,
    rows.Operation,
    rows.Treatment,
    supplies.Part,
    supplies.Supplier,
    supplies.Offer,
    supplies.Service,
    supplies.Material,
    supplies.Grit,
    supplies.Mark,
    supplies.Finish,
    rows.Find,
    rows.Correlation,
    rows.Caution,
    rows.ScopeNote,
    bench.Precedence,
    bench.Space,
    bench.BenchWay,
    bench.LabelSheet,
    bench.InsertColour,
    bench.Unbilled,
    rows.Rate,
    sales.SaleRatio,
    sales.Way,
    sales.DaysToSell,
    sales.PartOut,
    sales.WearWorth,
    sales.SaleWeight,
    sales.FoundCase,
)
