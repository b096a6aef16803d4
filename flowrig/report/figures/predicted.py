"""Every figure of a prediction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flowrig.report.figures.fan_and_bank import fan_and_bank
from flowrig.report.figures.in_use import in_use
from flowrig.report.figures.swept import swept_figures
from flowrig.studies.predict import Predicted

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def predict_figures(predicted: Predicted) -> dict[str, Figure]:
    """Fan and bank, the sweep and the life where there is one; by the names of their files."""
    figures = {"fan-and-bank": fan_and_bank(predicted, seed=predicted.seed)}
    if predicted.swept is not None:
        figures |= swept_figures(predicted.swept)
    if predicted.life is not None:
        figures["life"] = in_use(predicted.life)
    return figures
