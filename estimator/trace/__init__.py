"""Trace: any figure on a quote, opened.

A figure becomes a tree of steps: each says how its value follows from the values of its own
steps, down to rows of the tables with their sources, lines of the survey, settings and choices.
Nothing here is computed on the way to a quote; a figure is opened when somebody asks.
"""

from estimator.trace.opening import figures, trace, trace_all
from estimator.trace.places import Place
from estimator.trace.steps import OPS, Step
from estimator.trace.texts import as_dict, as_text

__all__ = ["OPS", "Place", "Step", "as_dict", "as_text", "figures", "trace", "trace_all"]
