"""What was found in a bath: titrations, what an analysis says, and what brings the bath back."""
