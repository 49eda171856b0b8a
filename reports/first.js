document.documentElement.className = "DecompressionStream" in window ? "draws" : "";
