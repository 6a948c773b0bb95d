// A relay between host and camera through which the camera's bytes pass no faster than they may.
import { connect, createServer, type AddressInfo } from "node:net";
import { setTimeout as sleep } from "node:timers/promises";

/** @returns the relay's port, and what ends it with everything that passes through it. */
export async function startSlowLink(
  cameraPort: number,
  bytesPerSecond: number,
): Promise<{ readonly port: number; readonly close: () => void }> {
  const sockets = new Set<{ destroy(): unknown }>();
  const server = createServer((host) => {
    const camera = connect(cameraPort, "127.0.0.1");
    for (const socket of [host, camera]) {
      sockets.add(socket);
      socket.on("error", () => undefined); // the other end may be killed
      socket.once("close", () => {
        sockets.delete(socket);
        host.destroy();
        camera.destroy();
      });
    }
    host.pipe(camera);
    void (async () => {
      for await (const chunk of camera) {
        host.write(chunk as Buffer);
        await sleep(((chunk as Buffer).length / bytesPerSecond) * 1000);
      }
    })().catch(() => undefined); // ended by its closing
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  return {
    port: (server.address() as AddressInfo).port,
    close: () => {
      for (const socket of sockets) socket.destroy();
      server.close();
    },
  };
}
