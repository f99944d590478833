/* Go programs take random numbers from ProcessPrng of bcryptprimitives.dll (Go 1.21,
   runtime/os_windows.go), a library that Wine has only from version 8.11 on (from memory).
   This one stands in for it. */
#include <windows.h>
#include <ntsecapi.h>

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T size)
{
	return RtlGenRandom(data, (ULONG)size);
}
