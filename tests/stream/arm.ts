/** The key that the page asks for, as a header. */
export async function wearerHeaders(url: string): Promise<{ 'tautline-wearer': string }> {
  const { key } = (await (await fetch(`${url}/wearer`)).json()) as { key: string };
  return { 'tautline-wearer': key };
}

/** Arms as the page does: with the key that it asks for. @returns the answer to POST /arm */
export async function armAsWearer(
  port: number,
  hand?: string,
): Promise<{ status: number; body: Record<string, unknown> }> {
  const url = `http://127.0.0.1:${port}`;
  const response = await fetch(`${url}/arm${hand === undefined ? '' : `?hand=${hand}`}`, {
    method: 'POST',
    headers: await wearerHeaders(url),
  });
  return { status: response.status, body: (await response.json()) as Record<string, unknown> };
}
