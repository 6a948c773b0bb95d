/** One of the installed program's commands; its own `--help` says the rest. */
type ListedCommand = {
  readonly does: string;
  /** Runs it with the process's arguments. */
  readonly run: () => Promise<unknown>;
};

/** Everything that stands after `nattvakt`, as `nattvakt --help` lists it. */
export const COMMANDS: Readonly<Record<string, ListedCommand>> = {
  plan: {
    does: "tonight: darkness, Moon, direction, limits",
    run: () => import("./plan.ts"),
  },
  rehearse: {
    does: "a whole night against a given sky, in a second",
    run: () => import("./rehearse.ts"),
  },
  meter: {
    does: "what the meter says of an image",
    run: () => import("./meter.ts"),
  },
  deliver: {
    does: "a night's frame sets as sequence, film, keogram and report",
    run: () => import("./deliver.ts"),
  },
  status: {
    does: "whether Nattvakt runs, where its page is and how the night stands",
    run: () => import("./status.ts"),
  },
  stop: {
    does: "ends the Nattvakt that runs, in order",
    run: () => import("./stop.ts"),
  },
  report: {
    does: "packs what is known of a night for somebody who is to find a fault",
    run: () => import("./report.ts"),
  },
  replay: {
    does: "plays a night's events again and compares every decision",
    run: () => import("./replay.ts"),
  },
  "bench-check": {
    does: "proves what a connected camera can do and writes its profile",
    run: () => import("./benchCheck.ts"),
  },
  service: {
    does: "starts Nattvakt with the computer and keeps it going: install, remove, status",
    run: () => import("./service.ts"),
  },
  "virtual-camera": {
    does: "the virtual camera alone, for any PTP/IP host",
    run: () => import("../virtual-camera/main.ts"),
  },
};
