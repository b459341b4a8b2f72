"""Commands before a cook: plan, schedule, price, history."""
