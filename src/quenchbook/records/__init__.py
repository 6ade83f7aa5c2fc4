"""What happened at the bench: readings, logs and deviations, checked against the coupon matrix."""
