// Only where the address is to be trusted, by TLS or on this machine, is there a place for a worker.
"use strict";

navigator.serviceWorker?.register("/worker.js", { updateViaCache: "none" }).catch(() => {});
