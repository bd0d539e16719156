"""What should be lit: a program resolved for a night, the next change, the decision."""
