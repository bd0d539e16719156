"""What ran, what was missed and why, energy and cost, lamp wear; pure, it asks a `JournalSource`."""
