"""Reading and editing the site file: positions, comments kept, atomic writes."""
