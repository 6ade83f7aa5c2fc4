"""Forms for the notebook, and the edits behind them: study file and readings, without code."""
