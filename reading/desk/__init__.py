"""The review desk: what needs eyes, gone through one by one."""
