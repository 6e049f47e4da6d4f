/* Says where the firmware loaded it from, then does what this variant is for (see programs.py):
   LEAVE undefined: switches the machine off; LEAVE: returns that status, as a menu does that a person leaves.
   WHO: the name of the system that this is; it takes the place of "started". */
#include "say.h"

#ifndef WHO
#define WHO "started"
#endif

EFI_STATUS efi_main(EFI_HANDLE image, EFI_SYSTEM_TABLE *table) {
    open_port(table);
#ifdef LEAVE
    begin(image, "left");
    end();
    return LEAVE;
#else
    begin(image, WHO);
    end();
    power_off();
    return EFI_ABORTED;
#endif
}
