"""People: a scripted cook who weighs, forgets, wraps late, sleeps and types wrongly."""
