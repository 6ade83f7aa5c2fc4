"""From the study to a randomized coupon matrix that a furnace and a bath can really run."""
