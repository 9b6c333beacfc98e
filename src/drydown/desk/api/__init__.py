"""The desk's interface for programs: phones' outboxes, and reading lots and deliveries."""
