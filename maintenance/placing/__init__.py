"""Place jobs into the charge programme at the least cost: problem, plan, check, rules of thumb and solver."""
