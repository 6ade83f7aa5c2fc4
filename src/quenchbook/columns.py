"""Glossary: what each column of our tables means, and its unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

GLOSSARY: Final[Mapping[str, tuple[str, str]]] = {
    "coupon": ("code of the piece of steel", ""),
    "furnace_load": ("number of the furnace load, in the order they are run", ""),
    "day": ("day of the furnace load", ""),
    "load_place": ("place in the load: order of quenching", ""),
    "cold_batch": ("coupons that go into the cold together: load, then a number", ""),
    "temper_batch": ("coupons that are tempered together", ""),
    "bar": ("bar of steel the coupon was cut from", ""),
    "bar_position": ("place in the bar", ""),
    "austenitize_c": ("austenitize temperature", "degC"),
    "cold_route": ("how the coupon is cooled below room temperature", ""),
    "delay_minutes": ("end of quench to start of the cold step; blank without one", "minutes"),
    "temper_c": ("temper temperature", "degC"),
    "hardness_hrc": ("Rockwell hardness, scale C", "HRC"),
    "impact_j": ("impact energy", "J"),
    "indent": ("number of the hardness impression on its coupon", ""),
    "value": ("reading on the scale that is analysed", ""),
    "term": ("factor, or combination of factors joined by a colon", ""),
    "stratum": ("unit whose scatter is the noise", ""),
    "df": ("degrees of freedom", ""),
    "df_error": ("error degrees of freedom of the stratum", ""),
    "statistic": ("F value", ""),
    "p_value": ("probability of a larger F if the term did nothing", ""),
    "safety_factor": ("factor on the mean square that keeps the level with unequal units", ""),
    "method": ("how the test was made", ""),
    "estimate": ("mean, difference or logarithm of a ratio", ""),
    "std_error": ("standard error of the estimate", ""),
    "conf_low": ("lower limit of the interval", ""),
    "conf_high": ("upper limit of the interval", ""),
    "variance": ("variance component", ""),
    "sd": ("standard deviation", ""),
    "verdict": ("exceeds, differs, slight, equivalent or undecided", ""),
}
