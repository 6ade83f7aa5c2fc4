"""What a plan can tell, and what that costs, before any steel is cut."""
