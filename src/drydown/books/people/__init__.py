"""People: the register, roles and what each may see and write."""
