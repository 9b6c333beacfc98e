"""The pages: gate, yard, lot, station. Server-rendered; works with scripts off."""
